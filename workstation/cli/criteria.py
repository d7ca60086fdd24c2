"""``endface criteria``: which criteria ship, and whether a file of one's own is right."""

import argparse
import textwrap
from pathlib import Path

from workstation.cli.words import DONE, NOT_DONE, WRONG_USAGE, Parser, say


def add_to(subparsers: "argparse._SubParsersAction[Parser]") -> None:
    """Add the subcommand."""
    parser = subparsers.add_parser(
        "criteria",
        help="list the criteria that ship, or check a file of one's own",
        description="List the criteria that ship with the program. Values that rest on memory alone and were "
        "not checked against the published standard are marked “unverified”.",
    )
    parser.set_defaults(run=list_criteria)
    actions = parser.add_subparsers(title="also", dest="action", metavar="ACTION")
    check = actions.add_parser(
        "check",
        help="check a criteria file",
        description="Check a criteria file; each error names file, line and field. Exit status 0: "
        "the file is right; 1: it has errors; 2: wrong usage, or no such file.",
    )
    check.add_argument("file", metavar="FILE", type=Path)
    check.set_defaults(run=check_file)


def list_criteria(chosen: argparse.Namespace) -> int:
    """Print each set's id, title, source and provenance; return the exit status."""
    from workstation.criteria import DEFAULT_ID, available

    for ref in available():
        marks = [
            word
            for word, holds in (("default", ref.id == DEFAULT_ID), ("unverified", ref.unverified))
            if holds
        ]
        print(ref.id + (f"  [{', '.join(marks)}]" if marks else ""))
        for text in (ref.title, f"Source: {ref.source}", f"Provenance: {ref.provenance}"):
            print(textwrap.fill(text, 100, initial_indent="    ", subsequent_indent="        "))
        print()
    print(
        "The published standard rules. Visual inspection doesn't replace measurements of loss and return "
        "loss."
    )
    return DONE


def check_file(chosen: argparse.Namespace) -> int:
    """Say whether a criteria file is right; return the exit status."""
    from workstation.criteria import CriteriaError, load_criteria

    if not chosen.file.is_file():
        say(f"There is no file {chosen.file}. Check the name and the folder.")
        return WRONG_USAGE
    try:
        # The whole path, so that a file is never taken for the id of a set that ships.
        criteria = load_criteria(chosen.file.absolute())
    except CriteriaError as error:
        say(str(error))
        return NOT_DONE
    mark = (
        " Some of its values are marked as resting on memory alone: unverified."
        if criteria.unverified
        else ""
    )
    print(
        f"{chosen.file} is right: “{criteria.title}” ({criteria.id}), for {criteria.fibre.value} fibre, "
        f"zones {', '.join(zone.letter for zone in criteria.zones)}.{mark}"
    )
    return DONE
