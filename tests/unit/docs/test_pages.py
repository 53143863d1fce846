"""Pages that say what the program does are held against the program: commands, help, exit statuses, links, generated parts."""

import argparse
import json
import re
import shlex
import tomllib
from pathlib import Path

import pytest
import yaml
from tests.unit.docs import generate
from tests.unit.docs.page_logs import LOGS

from pullbook import __version__, cli
from pullbook.columns import CHANNELS
from pullbook.config import Settings
from pullbook.sheets.facts_schema import DAY_KEYS, ENGINE_KEYS, Group, Kind

ROOT = generate.ROOT
CONTRACT = (ROOT / "docs" / "contract.md").read_text(encoding="utf-8")
_INDEXES = [p for p in sorted(ROOT.glob("[!.]*/README.md")) if p.parent.name != "docs"]
PAGES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", ROOT / "SECURITY.md", *sorted((ROOT / "docs").glob("*.md")), *_INDEXES,
         *sorted((ROOT / "tests").rglob("outside/**/*.md"))]  # fmt: skip


def commands() -> dict[str, argparse.ArgumentParser]:
    """Every command's parser by name, in the order of the help."""
    (choices,) = (a.choices for a in cli._parser()._actions if isinstance(a, argparse._SubParsersAction))
    return dict(choices)


def anchor(heading: str) -> str:
    """What a heading is linked by: small letters, hyphens for spaces, no other signs."""
    return re.sub(r"[^\w\- ]", "", heading.lower()).strip().replace(" ", "-")


@pytest.mark.parametrize("page", PAGES, ids=lambda p: str(p.relative_to(ROOT)))
def test_links_lead_somewhere(page: Path) -> None:
    text = re.sub(r"```.*?```", "", page.read_text(encoding="utf-8"), flags=re.S)
    for target in re.findall(r"\]\(([^)\s]+)\)", text):
        assert "://" not in target, f"{page.name} sends people to an address: {target}"
        path, _, place = target.partition("#")
        file = (page.parent / path).resolve() if path else page
        assert file.exists(), f"{page.name}: {target} is not there"
        assert file.is_relative_to(ROOT), f"{page.name}: {target} leaves the repository"
        if place:
            headings = re.findall(r"^#+ (.*)$", file.read_text(encoding="utf-8"), re.M)
            assert place in {anchor(h) for h in headings}, f"{page.name}: {target} has no such heading"


def test_every_page_is_in_the_index() -> None:
    index = (ROOT / "docs" / "README.md").read_text(encoding="utf-8")
    pages = [*(ROOT / "docs").glob("*.md"), *(ROOT / "docs").glob("*.json")]
    missing = [p.name for p in pages if p.name != "README.md" and f"]({p.name})" not in index]
    assert missing == []


def test_contract_names_the_commands_and_what_they_take() -> None:
    section = CONTRACT.split("## 6.")[1].split("\n## ")[0]
    said = dict(re.findall(r"^\| `pullbook (\w+) ?([^`]*)` \|", section, re.M))
    does = {}
    for name, parser in commands().items():
        places = [a for a in parser._actions if not a.option_strings]
        shape = {None: "{}", "?": "[{}]", "*": "[{}…]"}
        does[name] = " ".join(shape[a.nargs].format(a.metavar) for a in places)  # type: ignore[index]
    assert said == does
    assert list(said) == list(does), "in the order of the help"


@pytest.mark.parametrize("name", commands())
def test_help_has_an_example_that_parses(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as done:
        cli.main([name, "--help"])
    assert done.value.code == 0
    shown = capsys.readouterr().out
    parser = commands()[name]
    assert parser.epilog is not None
    example = re.match(r"Example: pullbook (.*)", parser.epilog)
    assert example is not None
    assert "Example: pullbook" in shown
    given = cli._parser().parse_args(shlex.split(example[1]))
    assert given.command == name
    for option in ("--book", "--json"):
        assert option in shown
        assert f"`{option}" in CONTRACT
    for option in re.findall(r"--[a-z]+", shown):
        assert option == "--help" or option in CONTRACT + (ROOT / "docs" / "config.md").read_text(encoding="utf-8"), (
            f"{name} {option} is on no page"
        )


def test_exit_statuses_are_those_of_the_contract(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    said = {int(n): text for n, text in re.findall(r"\*\*(\d)\*\* ([^;.]+)", CONTRACT.split("## 6.")[1].split("\n## ")[0])}
    assert list(said) == [0, 1, 2, 3]
    assert cli.main(["check", "--book", str(tmp_path)]) == 2, said[2]
    day = tmp_path / "logs" / "blue eight" / "2031-04-05"
    day.mkdir(parents=True)
    (day / "run 1.csv").write_text(LOGS["run 1.csv"], encoding="utf-8")
    assert cli.main(["check", "--book", str(tmp_path)]) == 0, said[0]
    (day / "broken.csv").write_bytes(b"\0\1\2\3" * 100)
    assert cli.main(["check", "--book", str(tmp_path), "--json"]) == 1, said[1]
    capsys.readouterr()

    def fault(*_: object) -> None:
        raise RuntimeError("a fault\nof ours")

    monkeypatch.setattr("pullbook.reading.check.check", fault)
    assert cli.main(["check", "--book", str(tmp_path)]) == 3, said[3]
    shown = capsys.readouterr()
    assert shown.out == ""
    assert shown.err.count("\n") == 1, "one line on screen"
    assert "Traceback" in (tmp_path / ".pullbook" / "faults" / "pullbook-fault.log").read_text(encoding="utf-8")


def test_the_published_schema_is_the_packaged_one() -> None:
    packaged = ROOT / "pipeline" / "pullbook" / "schemas" / "day.schema.json"
    assert (ROOT / "docs" / "day.schema.json").read_bytes() == packaged.read_bytes()


def test_config_page_is_fresh() -> None:
    assert generate.PAGE.read_text(encoding="utf-8") == generate.config_page(), "python -m tests.unit.docs.generate"
    properties = json.loads(generate.SCHEMA.read_text(encoding="utf-8"))["properties"]
    assert list(Settings.__dataclass_fields__) == list(properties)
    own = yaml.safe_load((ROOT / "config" / "config.yaml").read_text(encoding="utf-8"))
    assert set(own) <= set(properties)


def test_contract_names_every_key_of_the_hand_kept_files() -> None:
    def names(keys: dict[str, Kind]) -> set[str]:
        below = [names(dict(kind.keys)) for kind in keys.values() if isinstance(kind, Group)]
        return set(keys).union(*below)

    for key in sorted(names(dict(ENGINE_KEYS)) | names(dict(DAY_KEYS))):
        assert re.search(rf"\b{key}\b", CONTRACT), f"contract.md does not name {key}"


def test_contract_names_every_channel() -> None:
    section = CONTRACT.split("## 2.")[1].split("\n## ")[0]
    unused = {name for name, spec in CHANNELS.items() if spec.means.endswith("not used")}
    assert {name for name in CHANNELS if not re.search(rf"\b{name}\b", section)} <= unused


def test_every_dependency_is_reasoned() -> None:
    """docs/decisions.md says of each library what it is for; none stands there that is needed no more."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    needed = {re.split(r"[<>=;\[ ]", line)[0].lower() for line in project["dependencies"]}
    table = (ROOT / "docs" / "decisions.md").read_text(encoding="utf-8").split("## Why each dependency")[1].split("\n## ")[0]
    first = [line.split("|")[1] for line in table.split("\n") if line.startswith("| ")][1:]
    told = {re.sub(r"\(.*\)", "", name).strip().lower() for cell in first for name in re.sub(r"\([^)]*\)", "", cell).split(",")}
    assert told - {"---"} == needed


def test_one_version_is_told() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert project["version"] == __version__
    changelog = (ROOT / "docs" / "changelog.md").read_text(encoding="utf-8")
    assert re.search(rf"^## {re.escape(__version__)} \(\d{{4}}-\d\d-\d\d\)$", changelog, re.M), "a heading with its day"


def test_hooks_are_local_and_fetch_nothing() -> None:
    loaded = yaml.safe_load((ROOT / ".pre-commit-config.yaml").read_text(encoding="utf-8"))
    assert [repo["repo"] for repo in loaded["repos"]] == ["local"]
    hooks = {hook["id"]: hook for hook in loaded["repos"][0]["hooks"]}
    assert {"ruff", "ruff-format", "mypy", "codespell", "snakefmt"} <= set(hooks)
    assert all(hook["language"] == "system" and hook["entry"].startswith(".venv/bin/") for hook in hooks.values())
