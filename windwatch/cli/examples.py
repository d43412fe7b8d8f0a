"""`windwatch config examples`: the examples that come with the program, as files of one's own."""

from __future__ import annotations

from importlib import resources
from pathlib import Path
from typing import Final

import click

from windwatch.cli.show import examples as shown
from windwatch.cli.show import hanging, with_exit_status
from windwatch.errors import UsageError

FOLDERS: Final = ("config", "recorded_reports")


def place_of_examples() -> Path:
    """Folder that holds `FOLDERS`: inside an installed package, else the top of the source tree."""
    package = Path(str(resources.files("windwatch")))
    packed = package / "examples"
    return packed if packed.is_dir() else package.parent


def example_files() -> tuple[Path, ...]:
    """Every example, as a path below `place_of_examples()`.

    Raises
    ------
    UsageError
        If this installation has none.
    """
    place = place_of_examples()
    found = tuple(
        path.relative_to(place)
        for folder in FOLDERS
        for path in sorted((place / folder).glob("*"))
        if path.is_file()
    )
    if Path("config/demo.toml") not in found:
        raise UsageError(f"{place} holds no examples; install windwatch anew")
    return found


@click.command(
    name="examples",
    short_help="Copy the examples into a folder.",
    epilog=shown("windwatch config examples .", "windwatch replay config/demo.toml"),
)
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
@with_exit_status
def examples(folder: Path) -> None:
    """Copy the examples into FOLDER: the demo with its recorded day, configurations, the service.

    They come into folders `config` and `recorded_reports` there. A file that is there already is
    never replaced: then nothing is copied.
    """
    files = example_files()
    there = [str(folder / name) for name in files if (folder / name).exists()]
    if there:
        raise UsageError(f"{there[0]} is there already; name an empty folder")
    place = place_of_examples()
    try:
        for name in files:
            copy = folder / name
            copy.parent.mkdir(parents=True, exist_ok=True)
            with copy.open("xb") as file:
                file.write((place / name).read_bytes())
    except OSError as error:
        raise UsageError(
            f"{error.filename or folder}: {(error.strerror or str(error)).lower()}; name a folder"
            " that you may write in"
        ) from error
    for name in files:
        click.echo(str(folder / name))
    click.echo(hanging(f"Play the demo: windwatch replay {folder / 'config' / 'demo.toml'}"))
