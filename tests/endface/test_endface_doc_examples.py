"""The examples in the measuring room's docstrings run and show what they say."""

import doctest
import importlib
import pkgutil

import workstation.endface


def test_every_example_in_a_docstring_runs() -> None:
    tried = 0
    for module in pkgutil.iter_modules(workstation.endface.__path__, "workstation.endface."):
        result = doctest.testmod(importlib.import_module(module.name), optionflags=doctest.FAIL_FAST)
        assert result.failed == 0, f"{module.name}: run python -m doctest -v on it"
        tried += result.attempted
    assert tried > 0
