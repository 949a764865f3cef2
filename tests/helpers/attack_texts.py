"""Texts that no hand would write: what a file may hold beside what it should, for property-based tests."""

from collections.abc import Mapping, Sequence

from hypothesis import strategies as st

from compare.design.spec.forms import TOP, Form, keys_by_table

NASTY = (
    "", "0", "-0.0", "nan", "inf", "-inf", "1e400", "-1e-400", "9" * 400, "-" + "9" * 320, "0x" + "f" * 300,
    "0b1", "true", "1979-05-27", "07:32:00", "1e3", "1_000", "\u0661\u0662", "0.1.2", "1,5", "1 1/2",
    '"1 1/2"', '"1/0"', '"9999999999999999999/3"', "[]", "[[]]", "[1, 2]", "[1, 2, 3]", '["a", "b"]',
    "[nan, inf]", "{}", "{ a = 1 }", "[" * 60 + "]" * 60, '""', '"\\u0000"', '"\\u001b[31m"', '"a\\nb"',
    "'''", '"""x"""', '"in"', '"mm"', '"leg left"', '"A5"', '"' + "x" * 500 + '"', "x" * 500, "\u202e",
    "\ufeff", "\x00", "\x1b[2J", "=", ",,,,,", '"', "a = 1", "# only a comment",
)  # fmt: skip

numbers = st.floats(-1e4, 1e4, allow_nan=False).map(lambda v: f"{v:g}")
values = st.sampled_from(NASTY) | numbers | st.floats().map(repr) | st.integers().map(str)


@st.composite
def edited(draw: st.DrawFn, text: str) -> bytes:
    """Draw a text in which a few lines, values or bytes are other than they were."""
    lines = text.splitlines()
    for _ in range(draw(st.integers(1, 4))):
        if not lines:
            break
        at = draw(st.integers(0, len(lines) - 1))
        match draw(st.sampled_from(("delete", "double", "move", "value", "key", "insert", "cell", "cut"))):
            case "delete":
                del lines[at]
            case "double":
                lines.insert(at, lines[at])
            case "move":
                lines.insert(draw(st.integers(0, len(lines) - 1)), lines.pop(at))
            case "value":
                lines[at] = f"{lines[at].partition('=')[0]}= {draw(values)}"
            case "key":
                lines[at] = f"{draw(values)}{lines[at].partition('=')[2]}"
            case "insert":
                lines.insert(at, draw(values))
            case "cell":
                cells = lines[at].split(",")
                cells[draw(st.integers(0, len(cells) - 1))] = draw(values)
                lines[at] = ",".join(cells)
            case "cut":
                lines[at] = lines[at][: draw(st.integers(0, 20))]
    raw = "\n".join(lines).encode("utf-8", "surrogatepass")
    for _ in range(draw(st.sampled_from((0, 0, 0, 1, 3)))):
        at = draw(st.integers(0, len(raw)))
        raw = raw[:at] + draw(st.binary(max_size=4)) + raw[at + draw(st.integers(0, 3)) :]
    return raw


@st.composite
def invented(draw: st.DrawFn, forms: Mapping[str, Form]) -> bytes:
    """Draw a spec of tables and keys that exist, put together at random."""
    tables = keys_by_table(forms)
    many = {name for name, form in forms.items() if form.many}
    out = [f"{key} = {draw(values)}" for key in draw(some(tuple(TOP)))]
    for name in draw(st.lists(st.sampled_from(sorted(tables)), max_size=7)):
        out.append(f"[[{name}]]" if name in many or draw(st.integers(0, 9)) == 0 else f"[{name}]")
        out += [f"{key} = {draw(values | numbers)}" for key in draw(some(tables[name]))]
    return "\n".join(out).encode("utf-8", "surrogatepass")


def some(names: Sequence[str]) -> st.SearchStrategy[list[str]]:
    """Some of several names, each once."""
    return st.lists(st.sampled_from(names), unique=True, max_size=len(names))
