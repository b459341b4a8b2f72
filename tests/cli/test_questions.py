"""Questions: one contract, without a terminal a document and exit code 1."""

from __future__ import annotations

import pytest

from pitlogger.questions import Answers, QuestionError

ASKED = ("131 lb is 10 times what a packer weighs: 13.1 lb?", ("13.1 lb", "131 lb"))


def test_a_question_without_an_answer_stops_and_says_what_can_be_answered() -> None:
    with pytest.raises(QuestionError) as caught:
        Answers().choose(*ASKED, "131 lb")
    assert caught.value.asked.document() == {
        "question": ASKED[0],
        "options": ["13.1 lb", "131 lb"],
        "confirm": "131 lb",
    }
    assert caught.value.exit_code == 1


@pytest.mark.parametrize("answer", ["13.1 lb", " 13.1 LB ", "other; 13.1 lb"])
def test_an_answer_is_any_of_the_options(answer: str) -> None:
    assert Answers.of(answer).choose(*ASKED, "131 lb") == "13.1 lb"


def test_whoever_repeats_with_what_confirm_says_comes_through_several_questions() -> None:
    given = ""
    for _ in range(3):
        try:
            answers = Answers.of(given)
            chosen = [
                answers.choose("one?", ("a", "b"), "b"),
                answers.choose("two?", ("c", "d"), "c"),
            ]
        except QuestionError as fault:
            given = fault.asked.confirm
    assert chosen == ["b", "c"]


def test_another_answer_is_no_answer() -> None:
    with pytest.raises(QuestionError):
        Answers.of("13.2 lb").choose(*ASKED)


def test_a_wrong_answer_is_named_and_one_that_answered_something_else_is_not() -> None:
    answers = Answers.of("b; 13,1 lb")
    answers.choose("one?", ("a", "b"))
    with pytest.raises(QuestionError) as caught:
        answers.choose(*ASKED, "131 lb")
    assert caught.value.asked.question == f"{ASKED[0]} ('13,1 lb' is none of the answers)"


def test_what_was_answered_last_time_and_fits_nothing_now_is_no_mistake() -> None:
    with pytest.raises(QuestionError) as caught:
        Answers(kept=("lb",)).choose(*ASKED)
    assert caught.value.asked.question == ASKED[0]
    assert Answers(kept=("131 lb",)).choose(*ASKED) == "131 lb"
    assert Answers(("13.1 lb",), ("131 lb",)).choose(*ASKED) == "13.1 lb"
