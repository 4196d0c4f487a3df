"""State diagrams: the text of Mermaid and DOT, and the picture."""

from __future__ import annotations

import builtins
import sys
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from sequencer.documents import parse_document
from sequencer.errors import UsageError
from sequencer.report.diagram import dot, mermaid, svg
from sequencer.report.layers import place
from sequencer.sequence import load_sequence, resolve_sequence

DATA = Path(__file__).parent / "data"
GOOD = Path(__file__).parents[1] / "sequence" / "data" / "good.sequence.toml"
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def good():
    return load_sequence(GOOD)


@pytest.fixture
def awkward():
    text = GOOD.read_text()
    text = text.replace('name = "over the top"', r"""name = '"a" <b> & #c; d:e \f %% `g`'""")
    text = text.replace('about = "a test article"', r'about = "1 < 2 & \"x\"\u0007\nend"')
    return resolve_sequence(parse_document(text.replace("flying", "end"), "x.toml"))


def test_mermaid_is_what_it_was(good):
    assert mermaid(good) == (DATA / "diagram.mmd").read_text()


def test_dot_is_what_it_was(good):
    assert dot(good) == (DATA / "diagram.dot").read_text()


def test_names_of_all_kinds_stay_out_of_mermaids_grammar(awkward):
    text = mermaid(awkward)
    assert (
        "#quot;a#quot; #lt;b#gt; #amp; #num;c#semi; d#colon;e #bsol;f #percnt;#percnt; "
        "#grave;g#grave;" in text
    )
    assert 'state "end" as s_end' in text  # "end" is a word of Mermaid; the id is not
    assert all(line.count('"') in (0, 2) for line in text.splitlines())


def test_quotes_and_strokes_are_escaped_in_dot(awkward):
    assert r'label="\"a\" <b> & #c; d:e \\f %% `g`\nclimb < fall_start' in dot(awkward)


def texts(root):
    return ["".join(element.itertext()) for element in root.iter(f"{SVG}text")]


def test_the_picture_is_xml_with_each_state_once(good):
    root = ET.fromstring(svg(good))
    assert root.tag == f"{SVG}svg"
    ids = [group.get("id") for group in root.iter(f"{SVG}g") if group.get("id")]
    assert sorted(ids) == ["state-falling", "state-flying", "state-safe"]
    names = texts(root)
    for state in good.states:
        assert names.count(state) == 1


def test_the_picture_says_what_each_exit_and_state_does(good):
    found = texts(ET.fromstring(svg(good)))
    for line in (
        "over the top",
        "climb < fall_start, on 3 fresh baro",
        "arm_key, for 0.07 s",
        "tilt abort",
        "in safe, flying",
        "loops: control",
        "entry: fire motor, release clamp",
        "flight: a test article",
    ):
        assert line in found
    assert not any("flying to falling" in line for line in found)  # no name of its own


def test_every_exit_is_one_arrow(good):
    root = ET.fromstring(svg(good))
    tips = [path for path in root.iter(f"{SVG}path") if path.get("marker-end")]
    own = sum(len(state.exits) for state in good.states.values())
    assert len(tips) == own + len(good.common_exits) + 1  # and the one to the start
    common = [path for path in tips if "common-arrow" in (path.get("class") or "")]
    assert len(common) == 1


def test_no_box_lies_on_another(good):
    root = ET.fromstring(svg(good))
    boxes = [
        [float(rect.get(key, "0")) for key in ("x", "y", "width", "height")]
        for group in root.iter(f"{SVG}g")
        if (group.get("class") or "").split(" ")[0] in ("state", "common") and group.get("id")
        for rect in group.iter(f"{SVG}rect")
    ]
    assert len(boxes) == 3
    for number, (x, y, width, height) in enumerate(boxes):
        for other_x, other_y, other_width, other_height in boxes[:number]:
            apart_x = x >= other_x + other_width or other_x >= x + width
            apart_y = y >= other_y + other_height or other_y >= y + height
            assert apart_x or apart_y


def test_awkward_text_is_still_xml(awkward):
    found = texts(ET.fromstring(svg(awkward)))
    assert '"a" <b> & #c; d:e \\f %% `g`' in found
    assert 'flight: 1 < 2 & "x"  end' in found


def test_the_picture_is_the_same_each_time(good):
    assert svg(good) == svg(good)


def test_a_sequence_of_one_state_has_a_picture():
    text = '[sequence]\nname="x"\nrate_hz=1\nboot_s=0\nstart="a"\n[states.a]\nphase="ground"\n'
    root = ET.fromstring(svg(resolve_sequence(parse_document(text, "x.toml"))))
    assert "a" in texts(root)


def test_states_that_nothing_leads_to_and_ways_back_have_a_place():
    states = "".join(
        f'[states.{name}]\nphase="flight"\n[[states.{name}.exits]]\nto="{to}"\nwhen="True"\n'
        for name, to in (("a", "b"), ("b", "a"), ("c", "c"), ("d", "a"))
    )
    text = f'[sequence]\nname="x"\nrate_hz=1\nboot_s=0\nstart="a"\n{states}'
    root = ET.fromstring(svg(resolve_sequence(parse_document(text, "x.toml"))))
    assert {"a", "b", "c", "d"} <= set(texts(root))


def test_without_igraph_one_is_told_what_to_install(good, monkeypatch):
    real = builtins.__import__

    def without_igraph(name, *args, **kwargs):
        if name == "igraph":
            raise ImportError(name)
        return real(name, *args, **kwargs)

    monkeypatch.delitem(sys.modules, "igraph", raising=False)
    monkeypatch.setattr(builtins, "__import__", without_igraph)
    with pytest.raises(UsageError, match="drycount"):
        svg(good)
    assert mermaid(good)  # the text forms need nothing


def test_boxes_of_a_layer_keep_their_distance_and_their_order():
    sizes = [(100.0, 20.0)] + [(80.0, 30.0)] * 4 + [(60.0, 10.0)]
    arrows = [(0, n) for n in (1, 2, 3, 4)] + [(n, 5) for n in (1, 2, 3, 4)] + [(0, 5)]
    placed = place(sizes, arrows, [0, 1, 1, 1, 1, 2])
    row = sorted(x for x, _ in placed.centres[1:5])
    assert all(other - one >= 80.0 for one, other in pairwise(row))
    assert placed.layers[0][1] < placed.layers[1][0] < placed.layers[1][1] < placed.layers[2][0]
    assert placed.paths[0] == ()
    (top, bottom) = placed.paths[-1]  # the long arrow passes the middle layer upright
    assert top[0] == bottom[0]
    assert (top[1], bottom[1]) == placed.layers[1]
