"""YAML text → plain lists, dictionaries and scalars, with the line that each of them stands on."""

from dataclasses import dataclass
from typing import Any

from ruamel.yaml import YAML
from ruamel.yaml.comments import CommentedMap, CommentedSeq
from ruamel.yaml.error import MarkedYAMLError, YAMLError
from ruamel.yaml.events import (
    AliasEvent,
    CollectionEndEvent,
    CollectionStartEvent,
    DocumentStartEvent,
    NodeEvent,
)

from workstation.criteria.errors import CriteriaError

DEEPEST = 8  # the format itself nests four deep


@dataclass(frozen=True)
class Lines:
    """The line, from 1, on which the entry at a path of keys and places stands."""

    data: Any

    def of(self, path: tuple[str | int, ...]) -> int:
        """Return the line of the deepest entry of ``path`` that is there."""
        here, line = self.data, 1
        for step in path:
            if isinstance(here, CommentedMap) and isinstance(step, str) and step in here:
                line = here.lc.key(step)[0] + 1
            elif isinstance(here, CommentedSeq) and isinstance(step, int) and step < len(here):
                line = here.lc.item(step)[0] + 1
            else:
                break
            here = here[step]
        return int(line)


def read_yaml(text: str, name: str) -> tuple[Any, Lines]:
    """Read one YAML document.

    Parameters
    ----------
    text
        The file's text.
    name
        The file's name, for messages.

    Returns
    -------
    tuple
        The document, and where its entries stand.

    Raises
    ------
    CriteriaError
        The text isn't YAML, or holds what a criteria file has no use for.
    """
    try:
        _refuse_tricks(text, name)
        data = YAML(typ="rt", pure=True).load(text)
    except MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        where = f", line {mark.line + 1}" if mark else ""
        problem = str(error.problem or error.context).splitlines()[0]
        raise CriteriaError(f"{name}{where}: this isn't valid YAML: {problem}.") from error
    except (YAMLError, ValueError) as error:
        first = str(error).splitlines()[0]
        raise CriteriaError(f"{name}: this isn't valid YAML: {first}.") from error
    return data, Lines(data)


def _refuse_tricks(text: str, name: str) -> None:
    """Walk through the text's events, which costs no more than its length, before anything is built of it."""
    depth = documents = 0
    for event in YAML(typ="rt", pure=True).parse(text):
        where = f"{name}, line {event.start_mark.line + 1}"
        depth += isinstance(event, CollectionStartEvent) - isinstance(event, CollectionEndEvent)
        documents += isinstance(event, DocumentStartEvent)
        if depth > DEEPEST:
            raise CriteriaError(f"{where}: nested more than {DEEPEST} deep. Criteria need no more than four.")
        if documents > 1:
            raise CriteriaError(f"{where}: a second document begins. Keep one set of criteria a file.")
        if isinstance(event, AliasEvent) or (isinstance(event, NodeEvent) and event.anchor is not None):
            raise CriteriaError(f"{where}: anchors (&) and aliases (*) are not allowed. Write the value out.")
        if getattr(event, "tag", None) is not None:
            raise CriteriaError(f"{where}: tags (!) are not allowed. Write the value without one.")
