"""Rule set documents (TOML): the names of their grades, best first, which of them reject, and the rules."""

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from grading.calc.rule_limits import GradingRules
from grading.calc.rule_reading import read_rules


@dataclass(frozen=True)
class RuleSetDocument:
    """A rule set as it stands in its document. `grades`: code, title, description, reject; best first."""

    code: str
    title: str
    grades: tuple[dict[str, Any], ...]
    content: dict[str, Any]

    @property
    def order(self) -> list[str]:
        """Codes of the grades, best first."""
        return [str(g["code"]) for g in self.grades]

    @property
    def rejects(self) -> list[str]:
        """Codes of the grades that accept nothing."""
        return [str(g["code"]) for g in self.grades if g.get("reject")]

    def rules(self) -> GradingRules:
        """The rules by which it grades. Raises RuleProblems, a ValueError that names each key that cannot be."""
        return read_rules(self.content)


def read_rule_set(path: Path) -> RuleSetDocument:
    """Read one document. Raises ValueError when it is no TOML, or has no code, title or grades with codes."""
    try:
        content = tomllib.loads(path.read_text(encoding="utf-8"))
        grades = tuple(dict(g) for g in content["grades"])
        document = RuleSetDocument(str(content["code"]), str(content["title"]), grades, content)
        if not document.order:
            raise ValueError("no grades")
    except (UnicodeDecodeError, tomllib.TOMLDecodeError, KeyError, TypeError, ValueError) as error:
        raise ValueError(f"{path.name} is no rule set document: {error}") from error
    return document


def read_rule_sets(folder: Path) -> list[RuleSetDocument]:
    """All documents (*.toml) of a folder by name. Raises ValueError for one that cannot be read."""
    return [read_rule_set(path) for path in sorted(folder.glob("*.toml"))]
