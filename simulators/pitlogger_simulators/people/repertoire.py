"""Everything a line of a script can say: the table of verbs."""

from __future__ import annotations

from pitlogger_simulators.people import cooking, probing, tending, weighing
from pitlogger_simulators.people.verbs import Verb

VERBS: tuple[Verb, ...] = (
    Verb("weigh {checkpoint:word} [in {container:word}] [{tare:word} tare]", weighing.weigh),
    Verb("type {checkpoint:word}", weighing.type_mass),
    Verb("mistype {checkpoint:word} by {error:mass}", weighing.type_mass),
    Verb("correct {checkpoint:word}", weighing.correct),
    Verb("trim {amount:amount}", cooking.trim),
    Verb("season {amount:amount}", cooking.season),
    Verb("put on {pit:word} [leaving out {forgotten:words}]", cooking.put_on),
    Verb("wrap {kind:word}", cooking.wrap),
    Verb("unwrap", cooking.unwrap),
    Verb("vent", cooking.vent),
    Verb("cover", cooking.cover),
    Verb("cube", cooking.cube),
    Verb("pull [to {place:word}]", cooking.pull),
    Verb("move to {place:word} [as {stage:word}]", cooking.move),
    Verb("tell {stage:word} [{ago:duration} ago]", cooking.tell_stage),
    Verb("slice", cooking.carve),
    Verb("shred [bone {bone:amount}]", cooking.shred),
    Verb("split into {shares:shares}", cooking.split),
    Verb("pool {pieces:words} as {child:word}", cooking.pool, needs_piece=False),
    Verb("serve {share:amount}", cooking.serve),
    Verb("discard", cooking.discard),
    Verb("take temp", cooking.take_temp),
    Verb("note {text:text}", cooking.note, needs_piece=False),
    Verb("probe in {channel:word}", probing.probe_in, needs_piece=False),
    Verb("probe out {channel:word}", probing.probe_out, needs_piece=False),
    Verb("probe moved {channel:word}", probing.probe_moved, needs_piece=False),
    Verb("probe {channel:word} to {piece:word}", probing.probe_to, needs_piece=False),
    Verb("probes away", probing.probes_away),
    Verb("swap {first:word} with {second:word}", probing.swap, needs_piece=False),
    Verb("open lid {pit:word} for {seconds:duration}", tending.open_lid, needs_piece=False),
    Verb("add fuel {pit:word}", tending.add_fuel, needs_piece=False),
    Verb("set {pit:word} to {set_c:temperature}", tending.set_point, needs_piece=False),
    Verb("relight {pit:word}", tending.relight, needs_piece=False),
    Verb("fire out {pit:word}", tending.fire_out, needs_piece=False),
    Verb("grease fire {pit:word}", tending.grease_fire, needs_piece=False),
    Verb("weather {wind_m_s:number} m/s [{rain:word}]", tending.weather, needs_piece=False),
    Verb("air of {place:word} {air_c:temperature}", tending.place_air, needs_piece=False),
    Verb("press unit {unit:word}", tending.press_unit, needs_piece=False),
    Verb("wait {seconds:duration}", tending.wait, needs_piece=False),
    Verb("sleep {seconds:duration} [{deeply:word}]", tending.sleep, needs_piece=False),
)
