"""Where the data that ships with the program lies, in a checkout and in an installed wheel alike."""

from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent


def resources() -> Path:
    """Return the folder of criteria, schemas, icons and styles.

    Returns
    -------
    Path
        ``resources/`` beside the package in a checkout, ``_resources`` inside it in an installed wheel.

    Raises
    ------
    FileNotFoundError
        Neither is there: the installation is incomplete.
    """
    for folder in (_PACKAGE / "_resources", _PACKAGE.parent / "resources"):
        if folder.is_dir():
            return folder
    raise FileNotFoundError(
        f"The program's data folder is missing: looked in {_PACKAGE / '_resources'} and "
        f"{_PACKAGE.parent / 'resources'}. Install the program again."
    )
