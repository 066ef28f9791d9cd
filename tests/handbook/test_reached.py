"""Nothing in the handbook is without a reader: every module leads to a page, by what imports what."""

import ast
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
HANDBOOK = ROOT / "diestore" / "handbook"
PAGES = ("urls.py", "addresses.py", "views.py", "page.py", "panels.py", "sheet.py", "forms.py")


def _imports(file: Path) -> set[str]:
    """Dotted names that a file imports, a module and each name out of it."""
    package = file.relative_to(ROOT).with_suffix("").parts[:-1]
    found = set()
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            base = package[: len(package) - node.level + 1] if node.level else ()
            start = ".".join((*base, *(node.module.split(".") if node.module else ())))
            found |= {start, *(f"{start}.{alias.name}" for alias in node.names)}
    return found


def unread(files: dict[str, set[str]], pages: set[str], handbook: set[str]) -> set[str]:
    """Modules of the handbook that no page comes to. files: module -> what it imports."""
    seen, todo = set(), list(pages)
    while todo:
        module = todo.pop()
        if module not in seen:
            seen.add(module)
            todo += files.get(module, set()) & set(files)
    return handbook - seen


def test_every_module_of_the_handbook_leads_to_a_page():
    files, pages = {}, set()
    for app in ("diestore", "maintenance", "reports"):
        for file in (ROOT / app).rglob("*.py"):
            if "migrations" in file.parts:
                continue
            name = ".".join(file.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
            files[name] = _imports(file)
            if file.name in PAGES and "handbook" not in file.parts:
                pages.add(name)
    handbook = {f"diestore.handbook.{file.stem}" for file in HANDBOOK.glob("*.py") if file.stem != "__init__"}
    assert len(handbook) > 10 and len(pages) > 20
    assert unread(files, pages, handbook) == set()


def test_a_module_that_nobody_reads_is_found():
    files = {"page": {"read"}, "read": {"handbook.a"}, "handbook.a": set(), "handbook.b": {"handbook.a"}}
    assert unread(files, {"page"}, {"handbook.a", "handbook.b"}) == {"handbook.b"}
