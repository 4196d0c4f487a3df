"""What is meant is accepted in the file, with a reason; an acceptance of nothing is found."""

from __future__ import annotations

import pytest

from sequencer.errors import InputError
from sequencer.lint import lint, read_subjects
from sequencer.sequence import load_sequence

ACCEPTED = """
[[accepted]]
rule = "unused-limit"
about = "spare"
reason = "for the next motor"

[sequence]
"""
SPARE = (
    "[limits]\n",
    '[limits]\nspare = { value = 1, unit = "s", tolerance = 0, reason = "spare" }\n',
)


def accepting(text):
    return ("[sequence]\n", text.lstrip("\n"))


def test_nothing_is_found_in_the_small_sequence(found):
    report = found()
    assert report.findings == ()
    assert report.undecided == ()


def test_a_finding_has_place_sentence_and_reason(found, small):
    (one,) = found(SPARE).open
    assert (one.rule, one.names) == ("unused-limit", ("spare",))
    assert one.sentence == "nothing compares with limit 'spare'"
    assert one.file.read_text().splitlines()[one.line - 1].startswith("spare = ")
    assert one.reason
    del small


def test_an_accepted_finding_is_kept_with_its_reason_and_counts_no_more(found):
    report = found(SPARE, accepting(ACCEPTED))
    assert report.open == ()
    (one,) = report.accepted
    assert one.accepted == "for the next motor"


def test_a_list_of_names_wants_all_of_them(found):
    report = found(SPARE, accepting(ACCEPTED.replace('"spare"', '["spare", "lift"]')))
    assert [one.rule for one in report.open] == ["idle-acceptance", "unused-limit"]


def test_an_acceptance_of_nothing_is_found(found):
    (one,) = found(accepting(ACCEPTED)).open
    assert one.rule == "idle-acceptance"
    assert one.sentence == "nothing that 'unused-limit' finds is about 'spare'"
    assert one.file.read_text().splitlines()[one.line - 1] == "[[accepted]]"


def test_an_acceptance_that_names_it_wrongly_is_told_the_nearest(found):
    idle, unused = found(SPARE, accepting(ACCEPTED.replace('"spare"', '"spar"'))).open
    assert unused.rule == "unused-limit"
    assert idle.sentence == (
        "nothing that 'unused-limit' finds is about 'spar'; did you mean 'spare'?"
    )


def test_an_acceptance_for_a_rule_that_had_nothing_to_look_at_is_left_alone(found):
    text = ACCEPTED.replace("unused-limit", "message-unread")
    report = found(accepting(text))
    assert report.findings == ()
    assert "message-unread" in {one.rule for one in report.skipped}


@pytest.mark.parametrize(
    ("old", "new", "what"),
    [
        ('"for the next motor"', '"  "', "what is accepted needs a reason"),
        ('about = "spare"', "about = []", "what is accepted must be named"),
        ('reason = "for the next motor"\n', "", "'reason' is missing"),
        ('about = "spare"', 'abuot = "spare"', "did you mean 'about'?"),
    ],
)
def test_a_table_that_cannot_be_used_is_refused(small, old, new, what):
    path = small(accepting(ACCEPTED.replace(old, new)))
    with pytest.raises(InputError) as caught:
        load_sequence(path)
    assert what in str(caught.value)
    assert str(caught.value).startswith(f"{path}:")


def test_an_unknown_rule_is_refused_with_the_nearest(small):
    path = small(accepting(ACCEPTED.replace("unused-limit", "unusd-limit")))
    with pytest.raises(InputError) as caught:
        lint(read_subjects([path]))
    assert str(caught.value) == (
        f"{path}:4: no rule is called 'unusd-limit'; did you mean 'unused-limit'?"
    )
