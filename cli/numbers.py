"""Numbers as options take them: digits and a point, as in a file."""

from __future__ import annotations

import re
from typing import Any

import click


class Decimal(click.types.FloatParamType):
    """A number such as 4.5; Python's own 4_5, inf and nan are none."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Turn what was typed into a number, or say what would be right."""
        from timing.intake.text import DECIMAL

        if isinstance(value, str) and not DECIMAL.match(value.strip()):
            self.fail(f"{value!r} is not a number; write it with a decimal point", param, ctx)
        return super().convert(value, param, ctx)


class Whole(click.IntRange):
    """A whole number within bounds, such as 12; Python's own 1_2 is none."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Turn what was typed into a number, or say what would be right."""
        if isinstance(value, str) and not re.fullmatch(r"\s*[+-]?[0-9]+\s*", value):
            self.fail(f"{value!r} is not a whole number", param, ctx)
        return super().convert(value, param, ctx)
