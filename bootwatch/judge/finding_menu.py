"""A system that only a menu leads to, and the menu is not waited for."""

from __future__ import annotations

from collections.abc import Iterator

from bootwatch.judge.finding import told
from bootwatch.judge.menu_time import menu_not_waiting
from bootwatch.judge.outlook import How, SystemOutlook
from bootwatch.judge.scene import Scene
from bootwatch.judge.steps import By, Route
from bootwatch.model.change import Finding


def menu_not_shown(scene: Scene) -> Iterator[Finding]:
    """Nothing is said as long as one way to the system needs no menu, or a menu that may be waited for."""
    for one in scene.outlook.systems:
        if not one.system.is_watched or one.how is not How.ON_REQUEST:
            continue
        ways = list(one.working())
        reasons = [_reason(scene, one, route) for route in ways]
        if reasons and all(reasons):
            where = "; ".join(dict.fromkeys(reasons))
            what = _menu(ways[0])
            yield told("menu-not-shown", (one.system.key,), what, where, system=one.name)


def _reason(scene: Scene, one: SystemOutlook, route: Route) -> str:
    """Why the menu on a way is not waited for; "" where that isn't so or isn't known."""
    if route.by is By.CHOICE:
        return _firmware_reason(scene)
    if route.by is not By.MENU:
        return menu_not_waiting(scene, route)
    through = next((other for other in scene.outlook.systems if other.name == route.through), None)
    leading = [
        led
        for led in (through.routes if through else ())
        if led.starts and led.by is not By.MENU and led.entry == route.entry
    ]
    reasons = [menu_not_waiting(scene, led) for led in leading]
    return reasons[0] if reasons and all(reasons) else ""


def _firmware_reason(scene: Scene) -> str:
    """Seconds that the firmware waits (UEFI 2.10 §3.3); where it says none, they are its own to choose."""
    variable = scene.state.variable("Timeout")
    return "Timeout = 0" if variable and variable.data == b"\0\0" else ""


def _menu(route: Route) -> str:
    if route.by is By.CHOICE:
        return "the firmware's own menu"
    return f"the start menu of {route.through}" if route.through else "a menu of its own"
