"""What stands beside every figure."""

import pytest

from windwatch.airmanship import cautions

SENTENCES = [
    value for name, value in vars(cautions).items() if name.isupper() and isinstance(value, str)
]


def test_the_caution_names_who_decides():
    for who in (
        "flight manual",
        "local procedures",
        "instructor or pilot in command",
        "official weather sources",
    ):
        assert who in cautions.CAUTION


def test_propeller_wash_and_jet_blast_are_said_to_be_outside():
    assert "Propeller wash and jet blast" in cautions.PROP_WASH
    assert "outside this program" in cautions.PROP_WASH


@pytest.mark.parametrize("sentence", SENTENCES)
def test_no_caution_promises_safety_or_shouts(sentence):
    assert "safe" not in sentence.lower()
    assert "no gusts" not in sentence.lower()
    assert "!" not in sentence
    assert sentence.endswith(".")
