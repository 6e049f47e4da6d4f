"""bootwatch meaning."""

from __future__ import annotations

import argparse
import json

import pytest

from bootwatch.cli import meaning
from bootwatch.judge.meanings import MEANINGS
from bootwatch.problem import UsageProblem


def _run(*words: str) -> int:
    parser = argparse.ArgumentParser()
    meaning.add(parser.add_subparsers())
    arguments = parser.parse_args(["meaning", *words])
    return int(arguments.run(arguments))


@pytest.mark.parametrize("name", MEANINGS)
def test_each_document_reads_well_on_80_columns(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert _run(name) == 0
    out = capsys.readouterr().out
    assert out.startswith(f"{name}: ")
    assert max(map(len, out.splitlines())) <= 80 and "{" not in out
    assert "\nWhat to do\n" in out


def test_an_id_as_the_report_shows_it_is_fine(capsys: pytest.CaptureFixture[str]) -> None:
    _run("entry-missing:7c1e0a1b")
    assert capsys.readouterr().out.startswith("entry-missing: ")


def test_all_names_and_their_data(capsys: pytest.CaptureFixture[str]) -> None:
    _run()
    listed = capsys.readouterr().out
    assert all(f"  {name}" in listed for name in MEANINGS)
    _run("--json")
    document = json.loads(capsys.readouterr().out)
    assert document["format"] == "bootwatch/meaning/1"
    assert [one["name"] for one in document["meanings"]] == list(MEANINGS)
    assert set(document["meanings"][0]) == {
        "kind", "name", "headline", "consequence", "means", "todo", "caution",
    }  # fmt: skip


def test_a_wrong_name_is_answered_with_the_nearest() -> None:
    with pytest.raises(UsageProblem) as caught:
        _run("loader-mising")
    assert caught.value.hint == "Did you mean loader-missing?"
