"""The way in: files and environment to settings, or every fault at once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from types import MappingProxyType

from windwatch.errors import Fault, SettingsError
from windwatch.settings import build
from windwatch.settings.cover import judge_cover
from windwatch.settings.faults import judge
from windwatch.settings.files import Merged, Source, merge, read_source, toml_files
from windwatch.settings.findings import Findings
from windwatch.settings.rules_aircraft import judge_aircraft, judge_pilots
from windwatch.settings.rules_airfield import judge_airfields
from windwatch.settings.rules_board import judge_board
from windwatch.settings.rules_contacts import judge_contacts
from windwatch.settings.rules_reminders import judge_rules
from windwatch.settings.rules_rim import judge_delivery, judge_feed, judge_mail, judge_store
from windwatch.settings.rules_watch import judge_watch
from windwatch.settings.running import Settings


def read_settings(
    paths: Sequence[Path], environ: Mapping[str, str], *, require_secrets: bool = True
) -> Settings:
    """Read a configuration.

    Parameters
    ----------
    paths : sequence of Path
        Files, or folders of which every .toml counts, sorted by name. Lists of airfields,
        aircraft, pilot limits and contacts are put one behind the other; other tables may be
        spread over files but not contradict each other.
    environ : mapping of str to str
        Where secrets named by ``…_env`` are looked up.
    require_secrets : bool
        False: a missing secret is a warning. For looking at a configuration elsewhere than
        where it runs.

    Returns
    -------
    Settings
        Everything, with warnings about what should be looked at.

    Raises
    ------
    SettingsError
        With every fault found, each naming file, line and key, and what to write.
    """
    files, faults = toml_files(paths)
    read = [read_source(file) for file in files]
    faults += [each for each in read if isinstance(each, Fault)]
    sources = [each for each in read if isinstance(each, Source)]
    if faults:
        raise SettingsError(tuple(faults))
    if not sources:
        raise SettingsError(
            (Fault("windwatch", None, "configuration", "no file is named", "name one"),)
        )
    merged, faults = merge(sources)
    whole, refused, replaced = judge(merged)
    faults += refused
    if whole is None:
        raise SettingsError(_in_order(merged, faults))
    found = Findings(whole, merged, replaced, environ, require_secrets)
    judge_airfields(found)
    judge_aircraft(found)
    judge_pilots(found)
    feed, store = judge_feed(found), judge_store(found)
    delivery, mail = judge_delivery(found), judge_mail(found)
    addresses = judge_contacts(found)
    watch, board = judge_watch(found), judge_board(found)
    judge_rules(found)
    faults += found.faults
    if faults:
        raise SettingsError(_in_order(merged, faults))
    fleet = build.fleet(whole)
    judge_cover(found, fleet)
    if found.faults:
        raise SettingsError(_in_order(merged, found.faults))
    return Settings(
        files=files,
        fleet=fleet,
        feed=feed,
        store=store,
        delivery=delivery,
        mail=mail,
        watch=watch,
        board=board,
        addresses=MappingProxyType(addresses),
        warnings=tuple(str(each) for each in _in_order(merged, found.cautions)),
        secret_files=tuple(found.secret_files),
        as_read=(
            *((str(each.path), each.fingerprint) for each in sources),
            *((str(path), mark) for path, mark in found.secret_files.items()),
        ),
    )


def _in_order(merged: Merged, faults: Sequence[Fault]) -> tuple[Fault, ...]:
    """Return faults in the order of files and lines, each once."""
    files = {str(source.path): number for number, source in enumerate(merged.sources)}
    return tuple(
        sorted(dict.fromkeys(faults), key=lambda each: (files.get(each.file, 0), each.line or 0))
    )
