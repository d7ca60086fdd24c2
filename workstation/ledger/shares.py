"""Telling a network share from a disk of this computer: SQLite's write-ahead log needs the latter.

See https://www.sqlite.org/wal.html: "all processes using a database must be on the same host computer".
"""

import sys
from pathlib import Path

_NETWORK_KINDS = {
    "nfs",
    "nfs4",
    "cifs",
    "smb3",
    "smbfs",
    "afs",
    "9p",
    "fuse.sshfs",
    "ceph",
    "glusterfs",
    "fuse.glusterfs",
}


def network_share(folder: Path, mounts: Path = Path("/proc/self/mounts")) -> str:
    """Return what kind of network share a folder lies on, or an empty text.

    Parameters
    ----------
    folder
        An existing folder.
    mounts
        The system's list of mounts (Linux); where there is none, only Windows' shares are recognised.
    """
    resolved = folder.resolve()
    if sys.platform == "win32":
        return _windows_share(resolved)
    if not mounts.is_file():
        return ""
    best, kind = Path(), ""
    for line in mounts.read_text(encoding="utf-8", errors="surrogateescape").splitlines():
        parts = line.split(" ")
        if len(parts) < 3:
            continue
        # Spaces in a mount's path stand as \040 (fstab(5)).
        place = Path(parts[1].replace("\\040", " ").replace("\\011", "\t").replace("\\134", "\\"))
        if resolved.is_relative_to(place) and len(place.parts) >= len(best.parts):
            best, kind = place, parts[2]
    return kind if kind in _NETWORK_KINDS else ""


def _windows_share(folder: Path) -> str:
    if sys.platform != "win32":
        return ""
    import ctypes

    remote = 4  # DRIVE_REMOTE, GetDriveTypeW in the Windows API
    if folder.drive.startswith("\\\\") or ctypes.windll.kernel32.GetDriveTypeW(folder.anchor) == remote:
        return folder.drive
    return ""
