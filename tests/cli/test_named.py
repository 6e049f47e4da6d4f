"""Only the command that is named is read in."""

import argparse

import pytest

from bootwatch.cli import main


def _names(parser: argparse.ArgumentParser) -> list[str]:
    (commands,) = (one for one in parser._actions if isinstance(one.choices, dict))
    return list(commands.choices or ())


@pytest.mark.parametrize("name", main._COMMANDS)
def test_each_command_lies_in_the_module_of_its_name(name: str) -> None:
    assert _names(main.parser((name,))) == [name]


@pytest.mark.parametrize(
    ("words", "named"),
    [
        (["drift", "--json"], ["drift"]),
        (["--root", "snapshot", "drift"], ["drift"]),
        (["--state=/snapshot", "--root=/", "drift"], ["drift"]),
        (["--roo", "/", "drift"], list(main._COMMANDS)),  # argparse takes shortened options
        (["drfit"], list(main._COMMANDS)),  # and says which commands there are
        ([], list(main._COMMANDS)),
        (["--help"], list(main._COMMANDS)),
    ],
)
def test_the_command_that_is_named(words: list[str], named: list[str]) -> None:
    assert _names(main._parser_for(words)) == named
