"""Criteria files: YAML in, a checked table out, or errors that name file, line, field and what is expected.

The format is explained at the top of the default file in ``resources/criteria``. Anchors, aliases and tags
are refused, and so are large and deeply nested files: a criteria file needs none of them, and they are how a
small file is made to fill the memory.
"""

from pathlib import Path

from workstation.criteria.checking import check
from workstation.criteria.errors import CriteriaError
from workstation.criteria.table import Criteria
from workstation.criteria.yaml_lines import read_yaml
from workstation.paths import resources
from workstation.values import CriteriaRef

DEFAULT_ID = "iec-61300-3-35-2015-sm-pc-45"
LARGEST_FILE_BYTES = 256 * 1024  # the shipped files have about 3 kB


def load_criteria(id_or_path: str | Path = DEFAULT_ID) -> Criteria:
    """Read criteria by their short name or from a file.

    Parameters
    ----------
    id_or_path
        The id of criteria that ship with the program, or the path of a file in the same format.

    Returns
    -------
    Criteria
        The checked table.

    Raises
    ------
    CriteriaError
        There are no such criteria, the file can't be read, or something in it is wrong; the message names
        file, line, field and what is expected, one line an error.
    """
    path = _shipped().get(str(id_or_path)) or Path(id_or_path)
    return check(read_yaml(_text(path), path.name), path.name)


def available() -> tuple[CriteriaRef, ...]:
    """Return the criteria that ship with the program, the default first."""
    return tuple(load_criteria(id_).ref for id_ in _shipped())


def _shipped() -> dict[str, Path]:
    paths = {path.stem: path for path in (resources() / "criteria").glob("*.yaml")}
    return {id_: paths[id_] for id_ in sorted(paths, key=lambda id_: (id_ != DEFAULT_ID, id_))}


def _text(path: Path) -> str:
    known = ", ".join(_shipped())
    try:
        if path.is_file() and path.stat().st_size > LARGEST_FILE_BYTES:
            raise CriteriaError(
                f"{path.name}: the file has more than {LARGEST_FILE_BYTES // 1024} kB; criteria need a few. "
                "Check that it is the right file."
            )
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = path.read_bytes()[: error.start].count(b"\n") + 1
        raise CriteriaError(
            f"{path.name}, line {line}: the text isn't UTF-8. Save the file as UTF-8."
        ) from error
    except FileNotFoundError as error:
        raise CriteriaError(
            f"There are no criteria named “{path}”, and no such file. Give one of {known}, or a file's path."
        ) from error
    except (
        OSError,
        ValueError,
    ) as error:  # ValueError: a path that no system takes, as with a null character
        raise CriteriaError(f"The criteria file {path} can't be read: {error}") from error
