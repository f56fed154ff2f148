"""What every module looks like: short, named for a concept, and open about what it offers."""

import ast
import tokenize
from pathlib import Path

import pytest

_ROOT = Path(__file__).parents[2]
_MODULES = sorted((_ROOT / "src" / "wideroll").rglob("*.py"))
_TESTS = sorted((_ROOT / "tests").rglob("*.py"))
_MOST_LINES = 400
_MOST_CODE_LINES = 40
_SILENT_TOKENS = {
    *(tokenize.ENCODING, tokenize.COMMENT, tokenize.NL, tokenize.NEWLINE),
    *(tokenize.INDENT, tokenize.DEDENT, tokenize.ENDMARKER),
}
_NAMES_THAT_SAY_NOTHING = {"utils", "util", "helpers", "helper", "common", "misc", "tools", "base", "core"}


def _name(path):
    return str(path.relative_to(_ROOT))


def _functions(tree):
    return [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)]


def _code_lines(path):
    """Numbers of the lines that hold code: no blank lines, comments or docstrings."""
    with path.open("rb") as file:
        tokens = list(tokenize.tokenize(file.readline))
    lines = {
        line for token in tokens if token.type not in _SILENT_TOKENS for line in range(token.start[0], token.end[0] + 1)
    }
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant) and isinstance(node.value.value, str):
            lines -= set(range(node.lineno, node.end_lineno + 1))
    return lines


def test_code_lines_are_counted_as_meant(tmp_path):
    """The count leaves out docstrings, comments and blank lines, and takes a long statement for all its lines."""
    path = tmp_path / "x.py"
    path.write_text('def f(a):\n    """One.\n\n    Two."""\n\n    # why\n    return (\n        a\n    )  # so\n')
    assert _code_lines(path) == {1, 7, 8, 9}


@pytest.mark.parametrize("path", _MODULES, ids=_name)
def test_a_module_can_be_read_in_one_sitting(path):
    """No module has more than 400 lines."""
    assert len(path.read_text().splitlines()) <= _MOST_LINES


@pytest.mark.parametrize("path", _MODULES, ids=_name)
def test_a_function_can_be_held_in_the_head(path):
    """No function has more than 40 lines of code."""
    spans = [(node.name, range(node.lineno, node.end_lineno + 1)) for node in _functions(ast.parse(path.read_text()))]
    tall = [(name, span) for name, span in spans if len(span) > _MOST_CODE_LINES]
    lines = _code_lines(path) if tall else set()
    long = {name: count for name, span in tall if (count := len(lines & set(span))) > _MOST_CODE_LINES}
    assert not long


@pytest.mark.parametrize("path", _MODULES, ids=_name)
def test_a_module_says_first_what_it_offers(path):
    """After its docstring and imports, a module begins with ``__all__``."""
    body = ast.parse(path.read_text()).body
    assert isinstance(body[0], ast.Expr), "the docstring is missing"
    rest = [node for node in body[1:] if not isinstance(node, ast.Import | ast.ImportFrom | ast.If | ast.Try)]
    assert rest, "__all__ is missing"
    assert isinstance(rest[0], ast.Assign | ast.AnnAssign), "__all__ must stand first"
    targets = rest[0].targets if isinstance(rest[0], ast.Assign) else [rest[0].target]
    assert [target.id for target in targets] == ["__all__"]


@pytest.mark.parametrize("path", _MODULES, ids=_name)
def test_a_module_is_named_for_what_it_holds(path):
    """No folder or file is a drawer for everything."""
    names = {part.removesuffix(".py") for part in path.relative_to(_ROOT).parts}
    assert not names & _NAMES_THAT_SAY_NOTHING


@pytest.mark.parametrize("path", _TESTS, ids=_name)
def test_every_test_promises_something(path):
    """Each test has a docstring of at least one whole sentence."""
    silent = [
        node.name
        for node in _functions(ast.parse(path.read_text()))
        if node.name.startswith("test_") and not (ast.get_docstring(node) or "").endswith((".", "?"))
    ]
    assert not silent
