"""What the judging of a whole configuration collects: faults, and cautions that stop nothing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from windwatch.errors import Fault
from windwatch.settings.faults import fault
from windwatch.settings.files import Merged
from windwatch.settings.lines import Loc
from windwatch.settings.schema import WholeFile


@dataclass(slots=True)
class Findings:
    """Where the rules put what they find.

    Attributes
    ----------
    replaced : tuple of Loc
        Places where an example stands for a refused value: no rule is judged on them.
    require_secrets : bool
        Whether a secret that is missing now is a fault.
    secret_files : dict of Path to str
        Files that secrets were looked for in, and the fingerprint of what was read there.
    """

    whole: WholeFile
    merged: Merged
    replaced: tuple[Loc, ...]
    environ: Mapping[str, str]
    require_secrets: bool
    faults: list[Fault] = field(default_factory=list)
    cautions: list[Fault] = field(default_factory=list)
    secret_files: dict[Path, str] = field(default_factory=dict)

    def stands(self, loc: Loc, *also: Loc) -> bool:
        """Return whether a place, and all of what it was compared with, is as the user wrote it."""
        if any(loc[: len(gone)] == gone for gone in self.replaced):
            return False
        # A key that was refused inside a table may be the very one that a rule misses there.
        return not any(
            other[: len(gone)] == gone or gone[: len(other)] == other
            for other in also
            for gone in self.replaced
        )

    def refuse(self, loc: Loc, problem: str, mend: str, *also: Loc) -> None:
        """Note a fault, unless it (or what it was compared with) is judged on an example."""
        if self.stands(loc, *also):
            self.faults.append(fault(self.merged, loc, problem, mend))

    def caution(self, loc: Loc, problem: str, mend: str, *also: Loc) -> None:
        """Note something that is allowed but should be looked at."""
        if self.stands(loc, *also):
            self.cautions.append(fault(self.merged, loc, problem, mend))
