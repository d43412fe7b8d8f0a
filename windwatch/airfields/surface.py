"""Surfaces in a few plain words, from the many ways in which people have written them."""

from __future__ import annotations

import re
from typing import Final

UNKNOWN: Final = "unknown"

# The first word that is known decides: of ``ASPH-TURF-F`` the asphalt. Codes of one letter say
# different things in different countries (G: grass, gravel, good) and are left unknown.
_WORDS: Final = {
    "asphalt": "asp asph asphalt asfalt asfalto bit bitu bitum bitumen bituminous tarmac tar mac "
    "macadam tarred",
    "concrete": "con conc concrete concreto cement beton",
    "paved": "paved pave pav hard sealed brick bricks bri cop com composite pavement pem per perm",
    "grass": "grs gras grass grassed turf sod veg vegetation",
    "gravel": "gvl gravel grvl grv crushed rock cinder cinders stone stones pebbles shingle trtd "
    "treated",
    "earth": "earth dirt gre ter ground clay cla lat laterite soil piçarra picarra silt mud loam "
    "graded",
    "sand": "san sand sandy beach coral cor shells",
    "water": "wat water lake river sea",
    "snow or ice": "sno snow ice glacier",
    "metal or mats": "met metal steel aluminum aluminium mats mat matting psp mem membrane pierced",
    "wood": "wood wooden deck",
    "salt": "salt",
}
_PLAIN: Final = {word: plain for plain, words in _WORDS.items() for word in words.split()}
_WORD: Final = re.compile(r"[^\W\d_]+")


def plain_surface(given: str) -> str:
    """Return one plain word for a surface as somebody wrote it; ``unknown`` where none fits."""
    words = _WORD.findall(given.casefold())
    return next((_PLAIN[word] for word in words if word in _PLAIN), UNKNOWN)
