"""The sheet of an agent names its sources and says what has none."""

from __future__ import annotations

import json
import re

import pytest

from burden.evidence import agent_names, load_agent, reference
from burden.report.reference.agent_sheet import agent_sheet
from burden.report.reference.how_known import how_known


@pytest.mark.parametrize("name", agent_names())
def test_sheet_holds_every_source_in_full_and_every_key_in_its_words(name):
    found = agent_sheet(load_agent(name), 100)
    words = found.text()
    for key in found.source_keys():
        assert reference(key) in words
    assert "no data, try on a few fish first" in words
    assert json.loads(found.to_json())["agent"] == name
    assert len(found.to_frame()) > 5


@pytest.mark.parametrize("name", agent_names())
def test_every_key_cited_in_a_sentence_is_a_reference(name):
    """Sentences cite as (key) or (key, key); each such word with a year or underscore must resolve."""
    known = load_agent(name)
    sentences = [*known.cautions, *known.handling, *known.does_not, *known.aftercare]
    cited = [
        key
        for sentence in sentences
        for inside in re.findall(r"\(([^()]*)\)", sentence)
        for key in re.findall(r"\b[a-z]+(?:_[a-z]+|\d{4}[a-z]?)\b", inside)
    ]
    for key in cited:
        assert reference(key)
    assert cited


def test_the_sheet_says_how_each_value_is_known_what_moves_it_and_what_speaks_against_it():
    """Sitjà-Bobadilla et al. 2006 speaks against praziquantel for Sparicotyle, and the sheet says so."""
    found = agent_sheet(load_agent("praziquantel"), 100)
    held = json.loads(found.to_json())
    assert {row["how_known"] for row in held["values"]} >= {"assumption"}
    assert held["moves_most"]
    assert [(c["parasite"], c["level"]) for c in held["contradicted"]] == [("sparicotyle", "blocks")]
    assert "not given against sparicotyle" in str(found)


def test_how_a_figure_is_known_is_said_from_what_of_its_source_was_read():
    assert how_known("read", ["zhang2015"]) == "read in an abstract"
    assert how_known("read", ["zuskova2022"]) == "read in full"
    assert how_known("memory", ["bauer1969"]) == "from memory"
