"""The rooms of the package: imports point downward only, and never in a circle."""

import ast
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

import gatesim

PACKAGE = Path(gatesim.__file__).parent
FLOORS = (
    {"ground"},
    {"part", "motion", "inputfilter", "formula"},
    {"sensor", "counter"},
    {"scenario"},
    {"chain"},
    {"prediction", "explanation", "studies"},
    {"shopfloor"},
    {"view"},
    {"api"},
    {"commands"},
)
FLOOR = {room: number for number, rooms in enumerate(FLOORS) for room in rooms}
MOST_AT_THE_TOP = 18


def modules(package: Path = PACKAGE) -> dict[str, Path]:
    """Every module by its full name."""
    found = {}
    for path in package.rglob("*.py"):
        parts = path.relative_to(package.parent).with_suffix("").parts
        found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return found


def imports(package: Path = PACKAGE) -> dict[str, set[str]]:
    """Modules of the package that each of them imports, at its top or when a function is called."""
    known = modules(package)
    graph: dict[str, set[str]] = {}
    for name, path in known.items():
        wanted = set()
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                wanted |= {alias.name for alias in node.names}
            elif isinstance(node, ast.ImportFrom):
                assert node.level == 0, f"{name} imports relatively"
                # a name imported from a package may be a module of its own
                inner = {f"{node.module}.{alias.name}" for alias in node.names}
                modular = inner & set(known)
                wanted |= modular or {node.module}
        graph[name] = {module for module in wanted if module in known} - {name}
    return graph


def room(module: str) -> str:
    parts = module.split(".")
    return parts[1] if len(parts) > 1 else ""


@pytest.mark.long
def test_no_module_imports_itself_through_others():
    try:
        list(TopologicalSorter(imports()).static_order())
    except CycleError as error:
        pytest.fail(f"a circle of imports: {' -> '.join(error.args[1])}")


@pytest.mark.long
def test_imports_point_downward_only():
    upward = [
        f"{module} imports {other}"
        for module, others in imports().items()
        for other in others
        if room(module) in FLOOR and (FLOOR.get(room(other), len(FLOORS)) > FLOOR[room(module)])
    ]
    assert not upward


@pytest.mark.long
def test_rooms_do_not_stand_in_a_circle():
    between: dict[str, set[str]] = {}
    for module, others in imports().items():
        if room(module) in FLOOR:
            between.setdefault(room(module), set()).update(
                room(other) for other in others if room(other) != room(module)
            )
    list(TopologicalSorter(between).static_order())


def test_every_room_has_its_floor_and_the_top_is_small():
    top = {path.name for path in PACKAGE.iterdir() if path.name not in ("__pycache__", "py.typed")}
    rooms = {name for name in top if (PACKAGE / name).is_dir()}
    assert rooms <= set(FLOOR)
    assert len(top) <= MOST_AT_THE_TOP


def test_a_circle_and_an_import_upward_are_seen(tmp_path):
    house = tmp_path / "gatesim"
    for name, text in (
        ("ground/__init__", ""),
        ("ground/a", "from gatesim.chain import b\n"),
        ("chain/__init__", ""),
        ("chain/b", "def f():\n    import gatesim.ground.a\n"),
    ):
        path = house / f"{name}.py"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)
    graph = imports(house)
    assert graph["gatesim.ground.a"] == {"gatesim.chain.b"}
    with pytest.raises(CycleError):
        list(TopologicalSorter(graph).static_order())
