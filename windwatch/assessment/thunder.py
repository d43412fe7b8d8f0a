"""Thunder, squall and funnel cloud; and what falls from the sky."""

from __future__ import annotations

from windwatch.airmanship.cautions import ICE, RAIN, SNOW
from windwatch.assessment.values import Level, ThunderFinding
from windwatch.reports.values import Report


def thunder_finding(report: Report) -> ThunderFinding | None:
    """Over at the field, near in the vicinity or with cumulonimbus.

    Returns
    -------
    ThunderFinding or None
        None where the report has no weather part: nothing is known.
    """
    weather = report.weather
    if not weather.reported:
        return None
    at_field = [
        word
        for word, there in (
            ("thunderstorm", weather.thunderstorm),
            ("squall", weather.squall),
            ("funnel cloud", weather.funnel_cloud),
        )
        if there
    ]
    if at_field:
        return ThunderFinding(Level.OVER, tuple(f"{word} at the field" for word in at_field))
    nearby = []
    if weather.thunder_in_vicinity:
        nearby.append("thunderstorm in the vicinity")
    if weather.funnel_cloud_in_vicinity:
        nearby.append("funnel cloud in the vicinity")
    if weather.cumulonimbus:
        nearby.append("cumulonimbus reported")
    if nearby:
        return ThunderFinding(Level.NEAR, tuple(nearby))
    return ThunderFinding(Level.WITHIN, ())


def weather_notes(report: Report) -> tuple[str, ...]:
    """Cautions for reported rain, snow or ice."""
    weather = report.weather
    return tuple(
        text
        for text, there in (
            (RAIN, weather.rain),
            (SNOW, weather.snow),
            (ICE, weather.ice),
        )
        if there
    )
