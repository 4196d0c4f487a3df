"""JUnit XML against junit-10.xsd (origin and licence: data/README.md) [L: xmlschema]."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
import xmlschema

from sequencer.report.junit import as_junit

DATA = Path(__file__).parent / "data"


@pytest.fixture(scope="module")
def schema():
    return xmlschema.XMLSchema(str(DATA / "junit-10.xsd"))


def test_the_schema_itself_refuses_what_it_is_known_to_refuse(schema):
    """check values: a suite time of six decimals is invalid, of three is valid [L: xmlschema]."""
    suite = '<testsuite name="a" tests="0" failures="0" errors="0" time="{}"/>'
    assert schema.is_valid(suite.format("1.234"))
    assert not schema.is_valid(suite.format("1.234567"))


def test_valid_whatever_came_out(schema, nominal, short, failed):
    for results in ([], [nominal], [nominal, short, failed]):
        schema.validate(as_junit(results))


def test_counts_names_and_messages(nominal, short, failed):
    suite = ET.fromstring(as_junit([nominal, short, failed]))[0]
    assert {key: suite.get(key) for key in ("tests", "failures", "errors", "skipped", "time")} == {
        "tests": "3",
        "failures": "1",
        "errors": "1",
        "skipped": "0",
        "time": "24.680",
    }
    calm, wrong, gone = suite.findall("testcase")
    assert (calm.get("classname"), calm.get("name")) == ("scenarios", "calm")
    assert calm.find("failure") is None
    assert "soft_touchdown: met, margin +0.424 m/s" in calm.findtext("system-out")
    assert wrong.get("classname") == "scenarios.faults"
    assert wrong.find("failure").get("message").startswith("'soft_touchdown' is broken")
    assert "first wrong 9.03 s blocked flight.landing_1" in wrong.findtext("failure")
    assert gone.find("error").get("message") == "scenarios/gone.scenario.toml: no such file"
    hashes = {p.get("name"): p.get("value") for p in suite.iter("property")}
    assert hashes == {"flight.sequence": "aabbccdd", "vehicle": "12345678"}


def test_the_same_results_give_the_same_bytes(nominal, short):
    assert as_junit([nominal, short]) == as_junit([nominal, short])


def test_characters_that_xml_cannot_hold_do_not_spoil_the_file(schema, make_result):
    text = as_junit([make_result("bad \x00\x1b <name> & \ud800")])
    schema.validate(text)
    assert "bad \ufffd\ufffd &lt;name&gt; &amp; \ufffd" in text
