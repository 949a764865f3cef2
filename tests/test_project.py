"""The project as a whole: one-way imports, and documents that tell the truth about the code."""

import ast
import re
import shlex
import subprocess
from pathlib import Path

import click
import pytest

from compare.cli import main
from compare.design.constructions.registry import FORMS
from compare.design.load_spec import load_spec
from compare.design.spec.forms import TOP, keys_by_table
from compare.design.study.soundness import warnings_of
from compare.tell.help.topics import TOPICS
from tests.helpers.import_graph import circle_in, imports_of, modules_of, nodes_of, spoken_to_the_user
from tests.helpers.names_in_code import names_in

ROOT = Path(__file__).resolve().parents[1]
ROOMS = ("capture", "measure", "compare")
TOP_ENTRIES = {
    ".ci", ".gitignore", "README.md", "DEVELOPERS.md", "pyproject.toml",
    "capture", "measure", "compare", "sample_images", "tests",
}  # fmt: skip
PICTURES = (".jpg", ".png")


def readme() -> str:
    return (ROOT / "README.md").read_text(encoding="utf-8")


def topic(name: str) -> str:
    """A document of `foldgauge help`."""
    return (ROOT / "compare" / "tell" / "help" / f"{name}.md").read_text(encoding="utf-8")


def manual() -> str:
    """All a user reads: the README and every topic of the help."""
    return "\n".join([readme(), *map(topic, TOPICS)])


def commands(text: str) -> list[str]:
    """Lines of a document that are indented as a command."""
    return [
        line.strip()
        for line in text.splitlines()
        if re.match(r"    (?: {3})?(python3|foldgauge|\.venv/bin/)", line)
    ]


def tracked() -> list[str]:
    """Files that git tracks; skips where there is no git or no repository (an unpacked archive)."""
    try:
        out = subprocess.run(
            ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True
        ).stdout
    except FileNotFoundError:
        pytest.skip("git is not installed")
    except subprocess.CalledProcessError:
        pytest.skip("not a git repository")
    return [name for name in out.split("\0") if name]


def imported(path: Path) -> set[str]:
    """First parts of the names of all modules a file imports, wherever the import stands."""
    out: set[str] = set()
    for node in nodes_of(path):
        if isinstance(node, ast.Import):
            out |= {a.name.split(".")[0] for a in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            out.add((node.module or "").split(".")[0])
    return out


@pytest.mark.parametrize("room", ROOMS)
def test_imports_run_one_way(room: str) -> None:
    files = sorted((ROOT / room).rglob("*.py"))
    assert len(files) > 5
    beyond = {*ROOMS[ROOMS.index(room) + 1 :], "tests", "sample_images"}
    for path in files:
        assert not imported(path) & beyond, path


def test_options_are_named_by_the_commands_and_the_words_only() -> None:
    """Rooms that compute speak of an `Option`; what a surface calls it is that surface's business."""
    known = {o for c in every_command(main) for p in c.params for o in (*p.opts, *p.secondary_opts)}
    for folder in ("capture", "measure", "compare/jobs"):
        for path in sorted((ROOT / folder).rglob("*.py")):
            found = set(re.findall(r"(?<![\w-])--[a-z][a-z-]+", path.read_text(encoding="utf-8")))
            assert not found & known, f"{path.relative_to(ROOT)} names {found & known}"


SURFACES = ("compare.tell", "compare.commands", "compare.desk", "compare.cli")
"""What speaks to the user; nothing else names an option of the command line."""


def is_surface(module: str) -> bool:
    return any(module == s or module.startswith(f"{s}.") for s in SURFACES)


def test_only_what_speaks_to_the_user_imports_the_telling() -> None:
    modules = modules_of(ROOT, ROOMS)
    below = [
        m for m in modules if not is_surface(m) and m != "compare"
    ]  # `compare` offers it, looked up late
    assert len(below) > 150
    for module in below:
        told = {m for m in imports_of(modules[module], modules) if is_surface(m)}
        assert not told, f"{module} imports {sorted(told)}"


def test_options_are_named_only_by_what_speaks_to_the_user() -> None:
    """An error names a `capture.errors.Option`; each surface has a word of its own for it."""
    option = re.compile(r"(?<![\w-])--[a-z]")
    for module, path in modules_of(ROOT, ROOMS).items():
        if not is_surface(module):
            named = [text for text in spoken_to_the_user(path) if option.search(text)]
            assert not named, f"{module}: {named}"


def test_imports_run_in_no_circle() -> None:
    modules = modules_of(ROOT, ROOMS)
    graph = {m: imports_of(path, modules) - {m} for m, path in modules.items()}
    assert sum(map(len, graph.values())) > 500
    assert circle_in(graph) == []


def test_a_circle_is_found() -> None:
    graph = {"a": {"b"}, "b": {"c", "d"}, "c": set[str](), "d": {"e"}, "e": {"b"}}
    assert circle_in(graph) == ["b", "d", "e", "b"]
    assert circle_in({**graph, "e": {"c"}}) == []


VOCABULARIES = ("compare/vocabulary.py", "measure/part_names.py")


def test_names_are_spelled_and_taken_apart_in_one_place() -> None:
    """Ask `compare.vocabulary`: `parsed(name).side`, `named(Kind.LEG, side)`; a `Panel` knows its side."""
    found = [
        f"{path.relative_to(ROOT)}, {place}"
        for room in ROOMS
        for path in sorted((ROOT / room).rglob("*.py"))
        if str(path.relative_to(ROOT)) not in VOCABULARIES
        for place in names_in(nodes_of(path))
    ]
    assert found == []


def parsed(source: str) -> list[ast.AST]:
    return list(ast.walk(ast.parse(source)))


@pytest.mark.parametrize(
    "code",
    [
        'name.rsplit(" ", 1)[-1]', "name.split()[-1]", 'name.startswith(("page ", "leg"))', "'foot' in name",
        'name.endswith(f" {side}")', 'name.removeprefix("stage 2 ")', 'name.removesuffix(" left")',
        'f"page {side}"', 'f"{prefix}leg{i} {side}"', '"plane spacing right"', 'f"lean {half.name}"',
    ],
)  # fmt: skip
def test_a_name_taken_apart_is_found(code: str) -> None:
    assert len(names_in(parsed(f"x = {code}"))) == 1


@pytest.mark.parametrize(
    "code",
    [
        '" ".join(text.split())', 'path.name.startswith(".")', 'f"the {side} half leans"', '"leg"',
        "k in names", 'f"page_{side}"', 'f"{table}.{key}"', 'f"{name}: {reason}"',
        'reason.removeprefix(f"{name}: ")',
    ],
)  # fmt: skip
def test_other_texts_are_no_names(code: str) -> None:
    assert names_in(parsed(f"x = {code}")) == []


def test_readme_has_two_set_up_commands_and_ci_runs_them() -> None:
    setting_up = [c for c in commands(readme()) if c.startswith("python3 -m venv")]
    assert len(setting_up) == 2
    assert setting_up[0].endswith("foldgauge demo") and setting_up[1].endswith("-m pytest -n 2")
    ci = (ROOT / ".ci" / "run").read_text(encoding="utf-8").splitlines()
    for command in setting_up:
        assert command in ci
    for library in ("libgl1", "libglib2.0-0"):
        assert library in readme() and any(library in line for line in ci)


def every_command(group: click.Group) -> list[click.Command]:
    """All commands of a group, with those of the groups in it."""
    out: list[click.Command] = []
    for command in group.commands.values():
        out += every_command(command) if isinstance(command, click.Group) else [command]
    return out


def test_commands_and_options_told_exist() -> None:
    found = [c.split("#")[0] for c in commands(manual()) if c.startswith("foldgauge ")]
    assert len(found) >= 3
    for text in found:
        _, name, *args = shlex.split(text)
        command = main.commands[name]
        if isinstance(command, click.Group):  # "lot FOLDER" is short for "lot check FOLDER"
            command = command.commands[args.pop(0) if args[0] in command.commands else "check"]
        # Parses names and kinds of options, runs nothing.
        with click.Context(command) as ctx:
            command.parse_args(ctx, list(args))
    known = {o for c in every_command(main) for p in c.params for o in (*p.opts, *p.secondary_opts)}
    elsewhere = {"--no-bars", "--help"}  # of the benchmark, and of every command
    assert set(re.findall(r"--[a-z][a-z-]+", manual())) <= known | elsewhere
    assert set(re.findall(r"`foldgauge ([a-z]+)", manual())) <= set(main.commands)


def test_scripts_named_in_the_documents_exist() -> None:
    for name in (n for n in tracked() if n.endswith(".md")):
        text = (ROOT / name).read_text(encoding="utf-8")
        paths = re.findall(
            r"(?<![\w/.])(?:tests|sample_images|compare|measure|capture|\.ci)/[\w./]*\w(?![\w*])", text
        )
        for path in paths:
            assert (ROOT / path).exists(), f"{name} names {path}"


def test_modules_named_in_the_documents_exist() -> None:
    """Names such as `capture.photo.read_photo`: a room, a module, or something a module defines."""
    dotted = re.compile(r"`((?:capture|measure|compare)(?:\.\w+)+?)(?:\.([A-Z_a-z]\w*))?`")
    seen = 0
    for document in (n for n in tracked() if n.endswith(".md")):
        for whole in dotted.finditer((ROOT / document).read_text(encoding="utf-8")):
            path = ROOT / whole[0].strip("`").replace(".", "/")
            seen += 1
            if path.is_dir() or path.with_suffix(".py").is_file():
                continue
            module, name = path.parent.with_suffix(".py"), path.name
            assert module.is_file(), f"{document} names {whole[0]}"
            tree = ast.parse(module.read_text(encoding="utf-8"))
            defined = [n.name for n in tree.body if isinstance(n, ast.FunctionDef | ast.ClassDef)]
            assert name in defined, f"{document} names {whole[0]}"
    assert seen > 5


def test_example_spec_loads(tmp_path: Path) -> None:
    (block,) = re.findall(r"```toml\n(.*?)```", topic("spec"), re.DOTALL)
    path = tmp_path / "crane.toml"
    path.write_text(block, encoding="utf-8")
    assert warnings_of(load_spec(path)) == ()


def test_every_key_of_a_spec_is_told_and_no_other() -> None:
    told: dict[str, set[str]] = {"": set()}
    heads: list[str] = [""]
    for line in topic("spec").split("| table | key |")[1].split("\n\n")[0].splitlines()[2:]:
        first, keys = (cell.strip() for cell in line.split("|")[1:3])
        heads = re.findall(r"\[([\w.]+)\]", first) or heads
        for head in heads:
            told.setdefault(head, set()).update(re.findall(r"`(\w+)`", keys))
    keys = {
        t: set(k) for t, k in keys_by_table(FORMS).items() if not t.startswith("stage.")
    }  # as on the base
    assert told == {"": set(TOP)} | keys


@pytest.mark.photo
def test_python_told_runs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (block,) = re.findall(r"```python\n(.*?)```", topic("programs"), re.DOTALL)
    (tmp_path / "sample_images").symlink_to(ROOT / "sample_images")
    monkeypatch.chdir(tmp_path)
    exec(compile(block, "programs.md", "exec"), {})
    out = capsys.readouterr().out
    assert out.startswith("The right half leans 2.") and "leg right 38." in out and "does not conform" in out
    assert (tmp_path / "short_leg.html").stat().st_size > 100_000


def test_only_the_agreed_entries_are_at_the_top() -> None:
    assert {name.split("/")[0] for name in tracked()} <= TOP_ENTRIES


def test_no_place_of_one_machine_is_in_a_tracked_file() -> None:
    place = re.compile(r"/(?:work|root|tmp|home)/")
    for name in tracked():
        path = ROOT / name
        if name.endswith(PICTURES) or not path.is_file() or path == Path(__file__):
            continue
        found = place.search(path.read_text(encoding="utf-8"))
        assert found is None, f"{name}: {found and found[0]}"


def test_pictures_are_small_and_named() -> None:
    pictures = [p for p in (ROOT / "sample_images" / "docs").iterdir() if p.suffix in PICTURES]
    assert len(pictures) >= 3
    for path in pictures:
        assert path.stat().st_size <= (400_000 if path.suffix == ".png" else 200_000)
        assert f"sample_images/docs/{path.name}" in manual()


ROOMS = ("capture", "measure", "compare")
MOST_FILES = 16  # in one folder: more than can be taken in at a glance


def test_file_names_are_unique_and_folders_small() -> None:
    files = [Path(n) for n in tracked() if n.endswith(".py") and n.split("/")[0] in ROOMS]
    stems = [f.stem for f in files if f.stem != "__init__"]
    assert sorted(stems) == sorted(set(stems))
    for folder in {f.parent for f in files}:
        inside = [f.name for f in files if f.parent == folder]
        assert len(inside) <= MOST_FILES, f"{folder} holds {len(inside)} files"


def test_guides_are_short() -> None:
    assert len(readme().splitlines()) <= 200
    assert len((ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").splitlines()) <= 200
