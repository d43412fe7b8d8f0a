"""The grammar stands in one place, and each group of the published code forms is found there."""

import re
from pathlib import Path

import pytest

from windwatch.reports import grammar

ROOM = Path(grammar.__file__).parent
SOURCE = Path(grammar.__file__).read_text(encoding="utf-8")
_, HEAD, BODY = SOURCE.split('"""', 2)

# As printed in WMO No. 306, Volume I.1, Part A, FM 15, FM 16 and FM 51 (from memory).
OBSERVED = (
    "CCCC YYGGggZ dddff Gfmfm dndndnVdxdxdx VVVV CAVOK RDRDR/VRVRVRVRi w'w' NsNsNshshshs VVhshshs "
    "T'T'/T'dT'd QPHPHPHPH REw'w' RDRDR WTsTs/SS' RDRDR/ERCReReRBRBR TTTTT TTGGgg NOSIG RMK"
)
FORECAST = "Y1Y1G1G1/Y2Y2G2G2 PROBC2C2 YYGG/YeYeGeGe TTYYGGgg"
# FMH-1, chapter 12, by its paragraphs (from memory).
REMARKS = "PK WND|WSHFT|TSB(hh)mmE(hh)mm|Frequency_LTG(type)_LOC|FMH-1 12.7.1"


@pytest.mark.parametrize("group", [*OBSERVED.split(), "ff", *FORECAST.split(), *REMARKS.split("|")])
def test_each_group_of_the_code_forms_stands_beside_its_expression(group):
    comments = "\n".join(re.findall("#(.*)", BODY))
    assert re.search(rf"(?<![A-Za-z]){re.escape(group)}", f"{comments}\n")


@pytest.mark.parametrize("group", [*OBSERVED.split()[:2], "dddffGfmfm", *FORECAST.split()])
def test_the_code_forms_are_printed_whole_at_the_top(group):
    assert group in HEAD


def test_no_other_file_of_the_room_holds_an_expression_for_a_group():
    """What puts the text in order looks for blanks and end marks, which are no groups."""
    elsewhere = {
        file.name
        for file in ROOM.glob("*.py")
        if "re.compile" in file.read_text(encoding="utf-8") and file.name != "grammar.py"
    }
    assert elsewhere == {"text.py"}
