"""Finds code that takes names of lengths, joints and panels apart, or spells them, outside the vocabulary."""

import ast
import re
from collections.abc import Sequence
from typing import Final

from compare.vocabulary import Kind, Told
from measure.sides import SIDES

PARTING: Final = {
    "split", "rsplit", "partition", "rpartition", "startswith", "endswith", "removeprefix", "removesuffix",
    "replace",
}  # fmt: skip
WORDS: Final = {w for k in (*Kind, *Told) for w in k.split(" ")} | {*SIDES, "stage", "panel", "="}
KINDS: Final = "|".join(sorted((re.escape(k) for k in (*Kind, *Told)), key=len, reverse=True))
FILLED: Final = "\0"  # stands for whatever an f-string puts in
SPELLED: Final = re.compile(
    rf"(?:{FILLED} ?|stage (?:{FILLED}|\d+) )?(?:{KINDS})(?: ?{FILLED}| \d+)? (?:{FILLED}|left|right)"
)


def text_of(node: ast.AST) -> str | None:
    """The text of a string or an f-string; None for anything else."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if isinstance(node, ast.JoinedStr):
        return "".join(str(p.value) if isinstance(p, ast.Constant) else FILLED for p in node.values)
    return None


def is_words_of_a_name(text: str | None) -> bool:
    """Whether a text consists of words that names are made of, or of a blank and something put in."""
    if not text or not text.strip():
        return False
    if FILLED in text and text.strip(f"{FILLED} ") == "":
        return " " in text
    words = {w for w in text.replace(FILLED, " ").split() if not w.isdecimal()}
    return bool(words) and words <= WORDS


def parts_a_name(node: ast.AST) -> bool:
    """`x.startswith("leg")`, `x.endswith(f" {side}")`, `x.split()[-1]`, `"foot" in name` and their like."""
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr in PARTING:
        given = [e for a in node.args for e in (a.elts if isinstance(a, ast.Tuple) else [a])]
        return any(is_words_of_a_name(text_of(a)) for a in given)
    if isinstance(node, ast.Subscript) and isinstance(node.value, ast.Call):
        call = node.value
        parting = isinstance(call.func, ast.Attribute) and call.func.attr in PARTING
        return parting and [text_of(a) for a in call.args[:1]] in ([], [" "])
    if isinstance(node, ast.Compare) and isinstance(node.ops[0], ast.In | ast.NotIn):
        within = ast.unparse(node.comparators[0])
        of_a_name = re.search(r"(?:^|[._\W])(?:name|joint|panel|kind|half|[abknp])$", within) is not None
        return of_a_name and is_words_of_a_name(text_of(node.left))
    return False


def names_in(nodes: Sequence[ast.AST]) -> list[str]:
    """Each place among the nodes of a module, with its line, that takes a name apart or spells one."""
    told = {id(n.value) for n in nodes if isinstance(n, ast.Expr)}  # docstrings
    told |= {id(p) for n in nodes if isinstance(n, ast.JoinedStr) for p in n.values}
    out = []
    for node in nodes:
        text = None if id(node) in told else text_of(node)
        if parts_a_name(node) or (text is not None and SPELLED.fullmatch(text)):
            out.append(f"line {getattr(node, 'lineno', 0)}: {ast.unparse(node)}")
    return out
