"""`putlab report` as a person runs it."""

import pytest

from putlab.cli.app import build_app
from putlab.cli.console import run

DEMO = "data_demo"


def main(arguments):
    return run(build_app(), arguments)


@pytest.fixture(autouse=True)
def in_source_tree(monkeypatch, request):
    monkeypatch.chdir(request.config.rootpath)


@pytest.mark.slow
def test_one_player_to_a_file(tmp_path, capsys, demo_fit):
    target = tmp_path / "alder.html"
    assert main(["report", DEMO, "--player", "alder", "-o", str(target)]) == 0
    html = target.read_text()
    assert html.startswith("<!doctype html>")
    assert "<h1><bdi>alder</bdi>" in html
    assert f"{target} is written" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (["no-such-log.csv"], 1, "no-such-log.csv"),
        ([DEMO, "--player", "aldr"], 2, "Did you mean 'alder'"),
        ([DEMO, "-o", "no-such-folder/report.html"], 1, "no folder"),
        ([DEMO, "-o", "."], 1, "is a folder"),
    ],
)
def test_mistakes_get_one_message_and_a_code(arguments, code, words, capsys):
    assert main(["report", *arguments]) == code
    said = capsys.readouterr()
    assert words in said.err
    assert "Traceback" not in said.err
    assert said.out == ""


def test_help_teaches_by_example(capsys):
    assert main(["report", "--help"]) == 0
    assert "putlab report data_demo --player birch -o birch.html" in capsys.readouterr().out


def test_each_player_alone_is_handed_on_with_its_cluster(tmp_path, monkeypatch, capsys):
    asked = {}

    def instead(log, path, *, progress, **options):
        progress(1, 3, "rowan")
        asked.update(options, path=path, players=list(log.putts["player"].unique()))

    monkeypatch.setattr("putlab.pages.page.roster_report", instead)
    target = tmp_path / "roster.html"
    arguments = ["report", DEMO, "--each-player", "--cluster", "tcp://host:8786", "--seed", "3"]
    assert main([*arguments, "-o", str(target)]) == 0
    assert asked == {
        "path": target, "players": ["alder", "birch", "rowan"], "player": None, "seed": 3,
        "workers": None, "cluster": "tcp://host:8786", "made": None,
    }  # fmt: skip


@pytest.mark.parametrize(
    "wrong",
    [
        ["--workers", "2"],
        ["--each-player", "--workers", "2", "--cluster", "tcp://host:8786"],
        ["--each-player", "--workers", "0"],
    ],
)
def test_workers_are_those_of_this_machine(wrong, capsys):
    assert main(["report", DEMO, *wrong]) == 2
    assert "workers" in capsys.readouterr().err


def test_a_cluster_without_each_player_is_a_mistake(capsys):
    assert main(["report", DEMO, "--cluster", "tcp://host:8786"]) == 2
    assert "share out the fits of --each-player" in capsys.readouterr().err
