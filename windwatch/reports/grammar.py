r"""The groups of a METAR, SPECI or TAF, each beside the regulation that defines it.

This is the only place where a group's form is written down. Names and order follow the
code forms as printed (from memory, like the numbers of their regulations but for those that
the collection of recorded reports names, 15.4 to 15.15). FM 15 METAR and FM 16 SPECI:

    METAR or SPECI  COR  CCCC  YYGGggZ  NIL  AUTO
    dddffGfmfm KT or MPS  dndndnVdxdxdx
    VVVV or CAVOK  RDRDR/VRVRVRVRi  w'w'  NsNsNshshshs or VVhshshs or SKC or NSC
    T'T'/T'dT'd  QPHPHPHPH  REw'w'  WS RDRDR or WS ALL RWY  (WTsTs/SS')  (RDRDR/ERCReReRBRBR)
    (TTTTT TTGGgg dddffGfmfm KT or MPS  VVVV or CAVOK  w'w' or NSW  NsNsNshshshs ... or NOSIG)
    (RMK ...)

FM 51 TAF:

    TAF AMD or TAF COR or TAF  CCCC  YYGGggZ  NIL  Y1Y1G1G1/Y2Y2G2G2  CNL
    dddffGfmfm KT or MPS  VVVV or CAVOK  w'w' or NSW  NsNsNshshshs or VVhshshs or NSC
    (TXTFTF/YFYFGFGFZ TNTFTF/YFYFGFGFZ)
    PROBC2C2 or TTTTT  YYGG/YeYeGeGe  or  TTYYGGgg  with the groups that change

What each is called here: the group's own name stands in the comment beside its expression.

References
----------
.. [1] WMO No. 306, Manual on Codes, Volume I.1, Part A, FM 15, FM 16 and FM 51.
.. [2] Federal Meteorological Handbook No. 1 (FMH-1), chapter 12, for the United States.

No repetition here holds another over the same characters, and every expression is anchored,
or begins with a letter, a figure or a blank that settles at once whether to go on: the time to
read a text grows with its length and no faster, whatever stands in it. Digits are
spelled ``[0-9]`` because ``\d`` also takes the digits of other scripts. An optional part is
written ``(?:x|)``: the engine tries it faster than ``(?:x)?``.
"""

from __future__ import annotations

import re
from typing import Final

# --- the header: 15.1 to 15.4 ----------------------------------------------

KIND: Final = r"(METAR |SPECI |)"  # 15.1.1, name of the code; many feeds leave it out
CORRECTED: Final = r"(COR |)"  # 15.1.1, a corrected report
STATION: Final = r"([A-Z][A-Z0-9]{3})"  # CCCC, 15.2; some states use digits in it
TIME: Final = r"([0-9]{2})([0-9]{2})([0-9]{2})Z"  # YYGGggZ, 15.3; day, hour, minute UTC
# 15.4 AUTO; COR after the time (FMH-1); CCA, CCB ... first, second ... correction (Canada);
# RTD a delayed report (FMH-1, older).
MODIFIERS: Final = r"(AUTO |COR |COR AUTO |AUTO COR |CC[A-Z] |CC[A-Z] AUTO |RTD |)"

# --- the wind, dddffGfmfm dndndnVdxdxdx: 15.5 ------------------------------

DIRECTION: Final = r"[0-9]{3}|VRB|///"  # ddd 15.5.1 tens of degrees true; VRB 15.5.2; missing
SPEED: Final = r"[0-9]{2}|[1-9][0-9]{2}"  # ff, or three figures from 100 on, 15.5.6
GUST: Final = r"(?:G([0-9]{2}|[1-9][0-9]{2})|)"  # Gfmfm, 15.5.5
UNIT: Final = r"KT|MPS|KMH"  # 15.5.1, joined without a space; KMH in older editions
SECTOR: Final = r"(?: ([0-9]{3})V([0-9]{3})|)"  # dndndnVdxdxdx, 15.5.3, clockwise
# What follows must be the next group, the end mark or nothing. A sector that was not taken
# (small letters, more than one space) sends the whole text to be put in order first.
NEXT: Final = r"(?= (?![0-9]{3}[Vv])[!-~]|=|\Z)"

# The report as it should be, up to its wind. What does not look like this is read word by
# word in `windwatch.reports.header`, with the same groups and more patience.
PLAIN_REPORT: Final = re.compile(
    f"{KIND}{CORRECTED}{STATION} {TIME} {MODIFIERS}"
    f"({DIRECTION})({SPEED}){GUST}({UNIT}){SECTOR}{NEXT}"
)

# The wind group in every form that can be told apart, wrong ones included.
WIND_GROUP: Final = re.compile(
    r"""
    (?P<estimated>E|)                       # older US practice: estimated
    (?P<direction>[0-9]{3}|VRB|///)         # 15.5.1, 15.5.2
    (?P<slash>/|)                           # a stray slash, as people write it
    (?P<lower_bound>P|ABV|)                 # 15.5.6: P99KT, P49MPS; ABV in local reports
    (?P<speed>[0-9]{2,3}|//)                # ff
    (?P<early_unit>(?:KT|MPS|KMH)(?=G)|)    # a unit before the gust too: 12010KTG20KT
    (?:G(?P<gust_bound>P|ABV|)(?P<gust>[0-9]{2,3}|//)|)   # Gfmfm, 15.5.5
    (?P<unit>KMH|MPS|KTS|KTKT|KT|KY|K|T|)   # 15.5.1 and its usual misspellings
    """,
    re.VERBOSE,
)
# A figure too few: 3006KT, 2008G13KT, 0000KT.
FOUR_FIGURES: Final = re.compile(r"([0-9]{2})([0-9]{2})(?:G([0-9]{2,3})|)(KT|MPS|KMH)")
MISSING_WIND: Final = re.compile(r"/{4,6}(?:KT|MPS|KMH|)")  # 15.4: solidi for what is missing
CALM_IN_WORDS: Final = re.compile(r"CALM(?:KT|)")  # no code form, but written
# Only for a word in the wind's place: whatever it says, it was meant as a wind.
MEANT_AS_WIND: Final = re.compile(
    r"[^ ]{1,20}(?:KTS?|MPS|KMH)|VRB[^ ]{0,20}|[0-9]{5,6}(?:G[^ ]{0,20}|)|[0-9]{3}//|///[0-9]{2}"
)
WIND_GLUED_TO_NEXT: Final = re.compile(
    r"((?:[0-9]{3}|VRB)[0-9]{2,3}(?:G[0-9]{2,3}|)(?:KT|MPS))([^ ]+)"
)
SECTOR_GROUP: Final = re.compile(r"([0-9]{3})V([0-9]{3})")
STATION_GROUP: Final = re.compile(STATION)
TIME_GROUP: Final = re.compile(r"([0-9]{2})([0-9]{2})([0-9]{2})(Z|)")
VALIDITY_GROUP: Final = re.compile(r"[0-9]{4}/[0-9]{4}|[0-9]{6}")  # Y1Y1G1G1/Y2Y2G2G2, 51.2.3
CORRECTION_GROUP: Final = re.compile(r"CC([A-Z])")

# --- where the observed part ends: 15.14, 15.15 ----------------------------

REMARKS: Final = "RMK"  # RMK, 15.15; sometimes glued to the group before
COLOUR: Final = r"(?:BLACK|)(?:BLU|WHT|GRN|YLO|AMB|RED|BLACK)[12+]{0,2}"  # military colour states
# TTTTT is BECMG or TEMPO; INTER, PROBC2C2 and FM alone by national practice.
TREND_CHANGE: Final = r"NOSIG|BECMG|TEMPO|INTER|PROB[0-9]{2}"  # TTTTT or NOSIG, 15.14
TREND: Final = rf"{TREND_CHANGE}|(?:FM|TL|AT)(?:[0-9]{{4,6}}|(?= [0-9]{{4}}))"  # TTGGgg, 15.14.4
TREND_WORD: Final = re.compile(rf"(?:{TREND}|{COLOUR})(?:[/:].*|)")
TREND_CHANGE_WORD: Final = re.compile(r"(NOSIG|BECMG|TEMPO|INTER)(?:[/:].*|)|PROB([0-9]{2})")
TREND_TIME: Final = re.compile(r"(FM|TL|AT)(?:[0-9]{2}|)([0-9]{2})([0-9]{2})")  # TTGGgg
TREND_TIME_APART: Final = frozenset({"FM", "TL", "AT"})  # TEMPO FM 1300
COLOUR_STATE: Final = re.compile(COLOUR)

# --- the rest of the observed part: 15.6 to 15.13 --------------------------

CLOUD: Final = (  # NsNsNshshshs or VVhshshs, 15.9; FMH-1 12.6.9; ///CB from automatic stations
    r"(?:FEW|SCT|BKN|OVC|VV|///)(?:[0-9]{3}|///|)(?:CB|TCU|///|)"
    r"|CLR|SKC|NSC|NCD|CB(?:[/-][^ ]{1,20}|)|//////(?:CB|TCU|)|/////////"
)
VISIBILITY: Final = (  # VVVV or CAVOK, 15.6; statute miles, FMH-1 12.6.6
    r"[0-9]{4}(?:NDV|[NSEW]{1,2}|)|CAVOK"
    r"|[PM]?[0-9]{1,2}(?:/[0-9]{1,2}|)(?:SM|KM)|[0-9] [0-9]/[0-9]{1,2}SM|////(?:SM|)"
)
TEMPERATURE: Final = r"(?:M?[0-9]{2}|//|XX)/(?:M?[0-9]{2}|//|XX|)"  # T'T'/T'dT'd, 15.11
PRESSURE: Final = r"[QA](?:[0-9]{4}(?:\.[0-9]|)|////)"  # QPHPHPHPH, 15.12; A: inches, FMH-1
PHENOMENON: Final = (
    r"DZ|RA|SN|SG|IC|PL|GR|GS|UP|BR|FG|FU|VA|DU|SA|HZ|PY|PO|SQ|FC|SS|DS"  # code table 4678
    r"|MI|BC|PR|DR|BL|SH|TS|FZ|VC"
)
WEATHER: Final = rf"(?:[+-]|)(?:{PHENOMENON}){{1,6}}"  # w'w', 15.8; // where it is missing
RECENT_WEATHER: Final = rf"RE(?:{PHENOMENON}|//){{1,4}}"  # REw'w', 15.13.2
SHEAR_ON_RUNWAY: Final = (  # WS RDRDR or WS ALL RWY, 15.13.3; LDG and TKOF until 2007
    r"WS (?:ALL RWY|(?:LDG |TKOF |)R(?:WY|) ?[0-9]{2}[LCR]?)"
)
ON_RUNWAY: Final = r"R[0-9]{2}[LCR]{0,2}/[^ ]+"  # RDRDR/VRVRVRVRi 15.7; RDRDR/ERCReReRBRBR 15.13.6
OTHER: Final = (
    rf"{ON_RUNWAY}"
    r"|R/SNOCLO|SNOCLO|(?:[0-9]{2}|)(?:[0-9/]{6}|CLRD//)|[0-9/]{8}"
    r"|W[M0-9/]{2,3}/[SH][0-9/]{1,3}"  # WTsTs/SS', the sea, 15.13.5
    r"|RF[0-9/.]+/[0-9/.]+"  # rain gauge, Australia
    r"|NSW|M|[0-9]|Q[FN][EH][^ ]*|(?:AUTO|COR|RTD|CC[A-Z]|METAR|SPECI)"
)
# The observed part as it should be, whole: the same groups in the order of the code form.
PLAIN_BODY: Final = re.compile(
    rf"(?: (?:{VISIBILITY})|)(?: {ON_RUNWAY}){{0,4}}"
    rf"((?: (?:{WEATHER}|//)){{0,4}})((?: (?:{CLOUD})){{0,8}})"
    r"(?: (M?[0-9]{2})/(M?[0-9]{2}|)|)(?: ([QA][0-9]{4})|)"
    rf"(?: (?:A[0-9]{{4}}|{ON_RUNWAY})){{0,4}}"
    r"( (?:NOSIG|BECMG|TEMPO)(?: [^ ].*|)|) ?\Z"
)
# Else one word after the other, each asked in turn; what nobody claims is `unclaimed`.
BODY_GROUP: Final = re.compile(
    rf" (?:(?P<cloud>{CLOUD})"
    rf"|(?P<visibility>{VISIBILITY})"
    rf"|(?P<temperature>{TEMPERATURE})"
    rf"|(?P<pressure>{PRESSURE})"
    rf"|(?P<weather>{WEATHER})"
    r"|(?P<weather_missing>//)"
    rf"|(?P<recent>{RECENT_WEATHER})"
    rf"|(?P<shear>{SHEAR_ON_RUNWAY})"
    rf"|(?P<trend>{TREND}|{COLOUR})(?:[/:][^ ]*|)"
    rf"|(?P<other>{OTHER})"
    r")(?= |\Z)| (?P<unclaimed>[^ ]+)"
)

# --- remarks: FMH-1 12.7.1 -------------------------------------------------

# PK WND dddff(f)/(hh)mm, 12.7.1.e; two peaks may stand behind one another.
PEAK_WINDS: Final = re.compile(r"PK WND((?: [0-9]{3}P?[0-9]{2,3}/[0-9]{2,4}(?![0-9])){1,4})")
PEAK_WIND: Final = re.compile(r" ([0-9]{3})(P|)([0-9]{2,3})/([0-9]{2}|)([0-9]{2})(?![0-9])")
WIND_SHIFT: Final = re.compile(
    r"WSHFT (?:AT |)([0-9]{2}|)([0-9]{2})(?![0-9])"
)  # WSHFT (hh)mm, 12.7.1.f
# TSB(hh)mmE(hh)mm, 12.7.1.i, among other phenomena in one word: RAB06TSB04E41, TSE11TSB45.
THUNDER: Final = re.compile(r"TS((?:[BE](?:[0-9]{4}|[0-9]{2})){1,8})(?![0-9])")
THUNDER_TIME: Final = re.compile(r"([BE])([0-9]{2}|)([0-9]{2})(?![0-9])")
# Frequency_LTG(type)_LOC, 12.7.1.j; without a frequency from automatic stations: LTG DSNT W.
LIGHTNING: Final = re.compile(
    r"(?<= )(?:(OCNL|FRQ|CONS|CONTUS|CNS) |)LTG((?:IC|CC|CG|CA|CW){0,5})"
    r"((?: (?:OHD|VC|DSNT|ALQDS|ALQS|AND|THRU|TO|[NSEW]{1,2}(?:-[NSEW]{1,2}){0,4})(?= |\Z)){0,12})"
    r"(?= |\Z)"
)
LIGHTNING_TYPE: Final = re.compile("IC|CC|CG|CA|CW")  # in cloud, to cloud, ground, air, water
# Plain language; 15.5 has no form for it but the E of older US practice.
ESTIMATED_WIND: Final = re.compile(r"(?:WIND|WND) EST(?:D|MD|IMATED|)(?= |\Z)| EST(?:D|MD|) WI?ND")
TENTHS: Final = re.compile(r" T([01])([0-9]{3})(?:([01])([0-9]{3})|)(?= |\Z)")  # 12.7.2.d

# --- winds of a runway, a height or a place: national practice -------------

# A wind with its place glued to it: R06/08003MPS, 30006KT/R10, ARP/21003KT; or alone.
WIND_OF_PLACE: Final = re.compile(
    r"(?:((?:R(?:WY|)|THR)[0-9]{2}[LCR]?|ARP)/?|)"
    rf"((?:{DIRECTION})(?:P|ABV|)[0-9]{{2,3}}(?:G(?:P|ABV|)[0-9]{{2,3}}|)(?:{UNIT})|/{{5}}(?:{UNIT}))"
    r"(?:/(R[0-9]{2}[LCR]?)|)/?"
)
# The words before a wind that say where it blows: RWY03, RWY 26, WIND THR28, TDZ R01/, WIND 2600FT,
# TWR WND, HARBOR WIND; after WIND any name of a place: WIND SKEID.
NAMES_A_WIND: Final = frozenset({"WIND", "WND", "VIENTO"})
NAMES_A_PLACE_AHEAD: Final = NAMES_A_WIND | {"RWY", "R", "THR"}
LABELS_A_PLACE: Final = re.compile(
    r"R(?:WY|)(?:[0-9].*|)|WI?ND|VIENTO|THR.*|[0-9]{2,5}FT|TWR|TDZ|MID|END|ARP"
)
RUNWAY_OF_PLACE: Final = re.compile(r"(?:R(?:WY|)|THR) ?([0-9]{2}[LCR]?)(?![0-9])")
HEIGHT_OF_PLACE: Final = re.compile(r"([0-9]{2,5})FT")

# --- forecasts: FM 51 TAF --------------------------------------------------

# Y1Y1G1G1/Y2Y2G2G2, 51.2.3; before November 2008 Y1Y1G1G1G2G2. Hour 24 ends a day.
VALIDITY: Final = re.compile(r"([0-9]{2})([0-9]{2})/([0-9]{2})([0-9]{2})")  # and YYGG/YeYeGeGe
OLD_VALIDITY: Final = re.compile(r"([0-9]{2})([0-9]{2})([0-9]{2})")
OLD_PERIOD: Final = re.compile(r"([0-9]{2})([0-9]{2})")  # GGGeGe, hours alone
FROM: Final = re.compile(r"FM([0-9]{2}|)([0-9]{2})([0-9]{2})")  # TTYYGGgg; before 2008 FMGGgg
PROBABILITY: Final = re.compile(r"PROB([0-9]{2})")  # PROBC2C2, 51.9
CHANGES: Final = {"BECMG": "becoming", "TEMPO": "temporary", "INTER": "temporary"}  # TTTTT, 51.8
SHEAR: Final = re.compile(r"WS([0-9]{3})/([0-9]{3}[0-9]{2,3}(?:KT|MPS|KMH))")  # FMH-1, Canada
PLAIN_FIGURES: Final = re.compile(r"[0-9]{5}(?:G[0-9]{2}|)")  # a wind whose unit is missing
# Nothing after these words is forecast: remarks, limits of amendments, the next issue.
END_OF_FORECAST: Final = frozenset({"RMK", "AMD", "LAST", "NXT", "FCST", "AMDS", "NO"})
