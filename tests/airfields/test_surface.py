import pytest

from windwatch.airfields.surface import plain_surface


@pytest.mark.parametrize(
    ("written", "plain"),
    [
        ("ASP", "asphalt"),
        ("Asphalt", "asphalt"),
        ("ASPH-G", "asphalt"),
        ("ASPH-TURF-F", "asphalt"),
        ("ASPH/ CONC", "asphalt"),
        ("asfalt", "asphalt"),
        ("CON", "concrete"),
        ("PEM", "paved"),
        ("paved", "paved"),
        ("GRS", "grass"),
        ("Turf", "grass"),
        ("GRASS / SOD", "grass"),
        ("Grassed red clay", "grass"),
        ("GVL", "gravel"),
        ("CRUSHED ROCK", "gravel"),
        ("GRE", "earth"),
        ("Dirt", "earth"),
        ("WATER-E", "water"),
        ("ICE", "snow or ice"),
        ("PSP", "metal or mats"),
        ("Salt flat", "salt"),
        ("", "unknown"),
        ("UNK", "unknown"),
        ("G", "unknown"),
        ("C", "unknown"),
        ("Unpaved", "unknown"),
        ("12345 ;-)", "unknown"),
    ],
)
def test_free_text_becomes_one_plain_word(written, plain):
    assert plain_surface(written) == plain
