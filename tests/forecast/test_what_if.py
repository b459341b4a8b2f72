"""What if, and what a finished cook teaches."""

from __future__ import annotations

import pytest

from pitlogger.forecast.recalibrate import as_of, running_coverage, scores
from pitlogger.forecast.what_if import what_if
from pitlogger.model.journal import LocalScore
from tests.forecast.made import request


def test_a_hotter_pit_brings_it_forward_and_a_colder_one_puts_it_off() -> None:
    _, options = what_if(request(5.0))
    shifts = {option.action: option.shift_s for option in options}
    assert (shifts["pit up 10 C"] or 0) < -600
    assert shifts["pit down 10 C"] is None or shifts["pit down 10 C"] > 600


def test_wrapping_in_foil_now_brings_a_stalled_piece_forward() -> None:
    _, options = what_if(request(5.5, wrap_plan="none", wrap_at_c=None))
    shifts = {option.action: option.shift_s for option in options}
    assert (shifts["wrap in foil now"] or 0) < -600


def test_each_option_says_its_effect_in_one_line() -> None:
    _, options = what_if(request(5.0))
    text = next(o.text for o in options if o.action == "pit up 10 C")
    assert text.startswith("pit up 10 C: brings it forward by ")


def test_a_wrapped_piece_is_not_offered_a_wrap() -> None:
    _, options = what_if(request(7.0, wrap_h=5.0))
    assert all("wrap" not in option.action for option in options)


def test_what_cannot_be_told_has_no_alternatives() -> None:
    base, options = what_if(request(0.1))
    assert base.reason.startswith("cannot say yet")
    assert options == ()


def test_a_finished_cook_gives_three_scores() -> None:
    done = request(10.0, wrap_h=6.0)
    found = scores("harvest", done, 10 * 3600.0)
    assert len(found) == 3
    assert {score.cook for score in found} == {"harvest"}


def test_a_later_finish_scores_higher() -> None:
    done = request(10.0, wrap_h=6.0)
    early, late = scores("a", done, 9 * 3600.0), scores("a", done, 10 * 3600.0)
    assert early[0].z != late[0].z


def test_a_cook_asked_as_of_before_its_wrap_is_unwrapped_with_the_plan() -> None:
    asked = as_of(request(10.0, wrap_h=6.0), 4 * 3600.0)
    assert asked.wrap is None
    assert asked.wrap_plan == "paper"
    assert asked.wrap_at_s == 6 * 3600.0


def test_running_coverage_counts_own_moments_inside() -> None:
    near = tuple(LocalScore(f"c{i}", "brisket", 0.0) for i in range(9))
    far = (LocalScore("far", "brisket", 9.0),)
    assert running_coverage(()) is None
    share, count = running_coverage(near + far) or (0.0, 0)
    assert share == pytest.approx(0.9)
    assert count == 10


def test_a_gain_is_told_with_its_own_uncertainty_about_the_middle() -> None:
    _, options = what_if(request(5.5, wrap_plan="none", wrap_at_c=None))
    foil = next(option for option in options if option.action == "wrap in foil now")
    assert foil.shift_s is not None
    assert foil.likely_s is not None
    least, most = sorted(foil.likely_s, key=abs)
    assert abs(least) < abs(foil.shift_s) < abs(most)
    assert "(likely " in foil.text


def test_a_cooler_pit_is_not_offered_on_the_way_to_135_f() -> None:
    cold, warm = (what_if(request(hours))[1] for hours in (1.5, 5.0))
    assert all("down" not in option.action for option in cold)
    assert any("down" in option.action for option in warm)
