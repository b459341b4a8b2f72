"""What the person of the demo says reaches the daemon in a form that it takes."""

from __future__ import annotations

from pitlogger.model.journal import CorrectiveTaken
from pitlogger.web.requests import CorrectiveAsk
from pitlogger_simulators.demo.desk import request_of


def test_corrective_action_is_sent_as_the_api_takes_it() -> None:
    said = CorrectiveTaken("butt", "lid", "shut", "a timer", "kept", "hot-hold-low/butt", "eaten")
    path, body = request_of(said, 0)
    assert path == "/log/corrective"
    asked = CorrectiveAsk.model_validate({**body, "by": "MK"})
    assert (asked.piece, asked.disposition, asked.alert) == ("butt", "kept", said.alert)
