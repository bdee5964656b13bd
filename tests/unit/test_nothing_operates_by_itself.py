"""No output is operated by anything that acts by itself: shown on the source, not by trying.

Whoever could operate must have the desk, or a receiver with `operate`. Both are named in very few files, and none of
them is a timetable, the roster, an outlet, or a trigger of any kind.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import gateway

_ROOT = Path(gateway.__file__).parent

#: Who may know the desk: its port, itself, the two builders that hand it on, and the API's resource.
_DESK = {
    "api/resources/operating.py",
    "api/services.py",
    "daemon/house.py",
    "daemon/operating.py",
    "ports/__init__.py",
    "ports/operating.py",
    "watch/operating/__init__.py",
    "watch/operating/desk.py",
    "watch/operating/record.py",
}
_NAMES = {"OperatingDesk", "OperatingReceiver", "OperationDesk", "OperationOrder"}


def _sources() -> Iterator[tuple[str, ast.Module]]:
    for path in sorted(_ROOT.rglob("*.py")):
        yield str(path.relative_to(_ROOT)), ast.parse(path.read_text())


def _called(tree: ast.Module, method: str) -> bool:
    return any(
        isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == method
        for node in ast.walk(tree)
    )


def test_the_desk_is_known_to_the_api_alone() -> None:
    """By name, however it would be imported."""
    found = set()
    for name, tree in _sources():
        imported = {alias.name for node in ast.walk(tree) if isinstance(node, ast.ImportFrom) for alias in node.names}
        if imported & _NAMES or any(isinstance(node, ast.ClassDef) and node.name in _NAMES for node in ast.walk(tree)):
            found.add(name)
    assert found == _DESK


def test_operate_is_called_in_two_places() -> None:
    """The API's resource asks the desk, the desk asks the driver; a name in `house` or `services` calls nothing."""
    assert {name for name, tree in _sources() if _called(tree, "operate")} == {
        "api/resources/operating.py",
        "watch/operating/desk.py",
    }


def test_the_house_hands_the_desk_to_the_api_alone() -> None:
    """In the daemon it is built, run and given to the services; nothing that runs by itself gets it."""
    uses = {
        name
        for name, tree in _sources()
        if any(isinstance(node, ast.Attribute) and node.attr == "operating" for node in ast.walk(tree))
    }
    assert uses == {"api/resources/operating.py", "daemon/running.py", "daemon/services.py"}


def test_the_receiver_that_others_hold_has_no_operate() -> None:
    """`ports.Receiver` can't; so no plan, timetable or enrolment can, whatever driver stands behind it."""
    tree = ast.parse((_ROOT / "ports" / "receiver.py").read_text())
    methods = {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)}
    assert "read_status" in methods
    assert "operate" not in methods


def test_no_outlet_takes_orders() -> None:
    """MQTT subscribes to nothing, and no outlet listens for anybody."""
    for name, tree in _sources():
        if name.startswith("outlets/"):
            for method in ("subscribe", "start_server", "create_server", "add_route"):
                assert not _called(tree, method), name


def test_nothing_starts_a_script() -> None:
    """The daemon's rooms start no program that was named to them, and no program can hand them an order."""
    allowed = {"system/trust.py"}
    for name, tree in _sources():
        if name.partition("/")[0] in ("cli", "virtual") or name in allowed:
            continue
        for method in ("create_subprocess_exec", "create_subprocess_shell", "Popen", "system", "execv"):
            assert not _called(tree, method), name
