"""Which module of the rooms imports which, wherever the import stands: on top, in a function, for types."""

import ast
from collections.abc import Mapping
from functools import cache
from pathlib import Path


@cache
def nodes_of(path: Path) -> tuple[ast.AST, ...]:
    """All nodes of a file's syntax tree; files do not change while the tests run."""
    return tuple(ast.walk(ast.parse(path.read_text(encoding="utf-8"))))


def modules_of(root: Path, rooms: tuple[str, ...]) -> dict[str, Path]:
    """All modules: dotted name -> file; a package goes by its own name."""
    out: dict[str, Path] = {}
    for room in rooms:
        for path in sorted((root / room).rglob("*.py")):
            parts = path.relative_to(root).with_suffix("").parts
            out[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return out


def imports_of(path: Path, modules: Mapping[str, Path]) -> set[str]:
    """Modules that a file imports."""
    out: set[str] = set()
    for node in nodes_of(path):
        if isinstance(node, ast.Import):
            out |= {a.name for a in node.names if a.name in modules}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names = {f"{node.module}.{a.name}" for a in node.names}
            out |= names & set(modules) or ({node.module} & set(modules))
    return out


def circle_in(graph: Mapping[str, set[str]]) -> list[str]:
    """A circle of imports, its first module again at its end; [] if there is none."""
    done: set[str] = set()
    for start in sorted(graph):
        trail: list[str] = []
        stack = [(start, iter(sorted(graph[start])))] if start not in done else []
        trail += [start] if stack else []
        while stack:
            module, rest = stack[-1]
            step = next((m for m in rest if m not in done and m != module), None)
            if step is None:
                done.add(module)
                stack.pop()
                trail.pop()
            elif step in trail:
                return [*trail[trail.index(step) :], step]
            else:
                trail.append(step)
                stack.append((step, iter(sorted(graph[step]))))
    return []


def spoken_to_the_user(path: Path) -> list[str]:
    """String literals of a file, the texts of its documentation left out."""
    documented = {
        id(node.value)
        for node in nodes_of(path)
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    }
    return [
        node.value
        for node in nodes_of(path)
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in documented
    ]
