"""Core's documentation tells the truth: parameters, units, errors, sources and examples that run."""

import ast
import doctest
import importlib
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
CORE = sorted(path for path in (ROOT / "server/core").glob("*.py") if path.name != "__init__.py")
RECORDS = {"log", "results", "errors"}


def public_functions() -> Iterator[tuple[str, ast.FunctionDef]]:
    """Every public function of core, with the name of its module."""
    for path in CORE:
        for node in ast.parse(path.read_text()).body:
            if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
                yield path.stem, node


FUNCTIONS = {f"{module}.{node.name}": node for module, node in public_functions()}


def sections_of(node: ast.FunctionDef) -> dict[str, str]:
    """A numpydoc docstring cut into its sections."""
    text = ast.get_docstring(node) or ""
    parts = re.split(r"^(\w+)\n-{3,}\n", text, flags=re.MULTILINE)
    return {"Summary": parts[0], **dict(zip(parts[1::2], parts[2::2], strict=True))}


def signature_of(node: ast.FunctionDef) -> list[str]:
    """The names of a function's parameters in order."""
    arguments = node.args
    return [a.arg for a in (*arguments.posonlyargs, *arguments.args, *arguments.kwonlyargs)]


def documented_parameters(section: str) -> list[str]:
    """The names that a Parameters section describes, in order."""
    lines = [line for line in section.splitlines() if line and not line.startswith(" ")]
    return [name.strip().lstrip("*") for line in lines for name in line.split(":")[0].split(",")]


def raises_itself(node: ast.FunctionDef) -> bool:
    """Whether the function's own body raises."""
    return any(isinstance(inner, ast.Raise) for inner in ast.walk(node))


def test_there_are_functions_to_check() -> None:
    assert len(FUNCTIONS) > 40


@pytest.mark.parametrize("name", FUNCTIONS)
def test_documentation_matches_the_signature(name: str) -> None:
    node = FUNCTIONS[name]
    sections = sections_of(node)
    assert documented_parameters(sections.get("Parameters", "")) == signature_of(node)
    returns = node.returns is not None and ast.unparse(node.returns) != "None"
    assert ("Returns" in sections) == returns
    if raises_itself(node):
        assert "Raises" in sections
    assert ">>>" in sections.get("Examples", ""), "an example that runs"
    assert "References" in sections or "Derivation" in (ast.get_docstring(node) or ""), "a source"


@pytest.mark.parametrize("name", [name for name, node in FUNCTIONS.items() if signature_of(node)])
def test_numbers_have_units(name: str) -> None:
    node = FUNCTIONS[name]
    text = sections_of(node).get("Parameters", "")
    entries = re.split(r"\n(?=\S)", text)
    for entry in entries:
        head = entry.splitlines()[0] if entry else ""
        if re.search(r":.*\b(float|array|Floats)\b", head):
            assert re.search(r"\[[^\]]+\]", entry), f"{name}: no [unit] in: {head}"


@pytest.mark.parametrize("path", CORE, ids=[path.stem for path in CORE])
def test_examples_run(path: Path) -> None:
    module = importlib.import_module(f"server.core.{path.stem}")
    failed, tried = doctest.testmod(module)
    assert failed == 0
    functions = [name for name in FUNCTIONS if name.startswith(f"{path.stem}.")]
    assert tried >= len(functions) or path.stem in RECORDS
