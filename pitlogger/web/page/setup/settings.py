"""Settings: devices and where each sits, units, phones, rules, storage."""

from __future__ import annotations

from typing import Any

from pitlogger.devices.pointing.block import FOLDER
from pitlogger.devices.supervisor import Link
from pitlogger.engine.beside import band_of
from pitlogger.engine.compiled_channel import Lane
from pitlogger.model.alerts import alert_class
from pitlogger.model.quantities import Quantity, show_duration
from pitlogger.model.readings import Site
from pitlogger.views import words
from pitlogger.views.language import mark, tr, trn
from pitlogger.views.node import Node
from pitlogger.views.shown import MASS_UNITS, TEMPERATURE_UNITS, Shown
from pitlogger.views.status import is_running
from pitlogger.web.access.access import Access
from pitlogger.web.access.keyring import Holder
from pitlogger.web.access.roles import ABOUT, Role, who_asks
from pitlogger.web.page import standing
from pitlogger.web.page.cooking.figures import figure
from pitlogger.web.page.plain_words import plain

_LINK: dict[Link | None, str] = {
    None: mark("looking for it"),
    Link.UP: mark("up"),
    Link.LOST: mark("lost"),
}
SITES = tuple(site for site in Site if site is not Site.SPOT)


def settings_screen(
    daemon: Node, access: Access, shown: Shown, facts: dict[str, Any]
) -> dict[str, Any]:
    """Return the settings as they stand."""
    who = who_asks.get()
    links = daemon.supervisor.links()
    lost = [name for name, link in links.items() if link is Link.LOST]
    return {
        "sentence": _sentence(len(links), lost, daemon),
        "devices": [_device(daemon, name) for name in links],
        "channels": [_channel(daemon, lane, shown) for lane in daemon.engine.lanes.values()],
        "sites": [{"value": site.value, "label": words.site(site)} for site in SITES],
        "pieces": [
            held.piece.id
            for held in daemon.engine.book.pieces.values()
            if held.is_open and is_running(daemon)
        ],
        "running": is_running(daemon),
        "temperature_units": TEMPERATURE_UNITS,
        "mass_units": MASS_UNITS,
        "who": {"name": who.name, "initials": who.initials,
                "role": ABOUT[who.role] if who.role else ABOUT[Role.LOOK]},
        "is_owner": who.role is Role.OWNER,
        "holders": [(held, _seen(held, shown)) for held in access.keys.holders()]
        if who.role is Role.OWNER else [],
        "roles": [{"value": role.label, "label": ABOUT[role]} for role in Role],
        "rules": [_rule(daemon, kind) for kind in daemon.policy.rules],
        "policy": daemon.safety.title,
        "storage": _storage(facts),
        "backups": str(daemon.config.store.backups or ""),
        "config": {"host": daemon.config.web.host, "tls": daemon.config.web.tls_cert is not None},
    }  # fmt: skip


def _sentence(devices: int, lost: list[str], daemon: Node) -> str:
    if not devices:
        return tr("No device is configured: weights and temperatures are typed.")
    if lost:
        return tr(
            "{lost} of {devices} devices cannot be read: {names}.",
            lost=len(lost),
            devices=devices,
            names=", ".join(lost),
        )
    return trn("{count} device at work.", "{count} devices at work.", devices)


def _seen(held: Holder, shown: Shown) -> str:
    """Return when a phone or program was last seen, or removed."""
    if held.removed_ms is not None:
        return tr("removed {at}", at=shown.when(shown.of_utc(held.removed_ms)))
    return tr("seen {at}", at=shown.when(shown.of_utc(held.seen_ms)))


def _device(daemon: Node, name: str) -> dict[str, Any]:
    table = next((one for one in daemon.config.device if one.id == name), None)
    stands = daemon.supervisor.standing(name)
    is_lost = stands.link is Link.LOST
    return {
        "id": name,
        "driver": table.driver if table is not None else "",
        "link": tr(_LINK[stands.link]),
        "trouble": plain(stands.message) if is_lost else "",
        "remedy": plain(stands.remedy) if is_lost else "",
        "is_joined": (daemon.config.node.data / FOLDER / f"{name}.toml").exists(),
        "commands": daemon.supervisor.commands(name) if stands.link is Link.UP else (),
    }


def _channel(daemon: Node, lane: Lane, shown: Shown) -> dict[str, Any]:
    shows: dict[str, Any] = {"number": "", "unit": "", "word": tr("no value")}
    if lane.is_temperature:
        shows = figure(daemon, lane, shown)
    elif lane.state.value is not None:
        is_mass = lane.quantity is Quantity.MASS
        number = shown.mass(lane.state.value) if is_mass else f"{lane.state.value / 1000:g}"
        shows = {"number": number, "unit": "", "word": ""}
    return {
        "id": lane.state.id,
        "site": lane.site.value,
        "site_label": words.site(lane.site),
        "piece": lane.piece or "",
        "number": shows["number"],
        "unit": shows["unit"],
        "word": shows["word"],
        "is_temperature": lane.is_temperature,
        "band": _band(daemon, lane, shown) if lane.site is Site.PIT else (),
    }


def _band(daemon: Node, lane: Lane, shown: Shown) -> list[tuple[str, str, str]]:
    """Return the fields of a pit: name, label, what it is now."""
    held = daemon.engine.book.assignment(lane.state.id)
    now = (None,) * 3 if held is None else band_of(held.channel)
    names = (("set_point", tr("Set point")), ("low", tr("Lowest")), ("high", tr("Highest")))
    return [
        (field, label, "" if mc is None else shown.degrees(mc))
        for (field, label), mc in zip(names, now, strict=True)
    ]


def _rule(daemon: Node, kind: str) -> dict[str, Any]:
    rule = daemon.policy.rules[kind]
    return {
        "kind": words.alert(kind),
        "is_alarm": alert_class(kind) == "alarm",
        "letter": standing.LETTER[rule.priority.label],
        "wakes": rule.wakes,
        "delay": show_duration(rule.on_delay_ms) if rule.on_delay_ms else tr("at once"),
        "remedy": rule.remedy,
        "source": rule.source,
    }


def _storage(facts: dict[str, Any]) -> list[tuple[str, str]]:
    if not facts:
        return []
    return [
        (
            tr("database"),
            tr(
                "{size} MB, {state}",
                size=f"{facts['size_bytes'] / 1e6:.1f}",
                state=tr("sound") if facts["sound"] else tr("damaged"),
            ),
        ),
        (tr("cooks"), str(facts["cooks"])),
        (tr("journal entries"), str(facts["entries"])),
        (tr("readings"), f"{facts['readings']:,}".replace(",", " ")),
        (tr("readings lost"), str(facts["lost_readings"])),
    ]
