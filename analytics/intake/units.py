"""How a unit as written turns into the parameter's own: value x factor + shift."""

from __future__ import annotations

import re
from functools import cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pint

# One unit, or several joined by * and /. The units library alone would take "a b c" for a product,
# and would work out powers of any size: cells come from anywhere.
_ONE_UNIT = r"(%|\u00b0?[^\W\d]\w{0,30})((\^|\*\*)-?\d)?"
_UNIT = re.compile(rf"(1/)?{_ONE_UNIT}([*/]{_ONE_UNIT}){{0,4}}")


def conversion(written: str, wanted: str) -> tuple[float, float] | str:
    """Return (factor, shift) from one unit to another, or a sentence why there is none.

    A shift other than 0 comes from scales with their own zero, such as degC to degF.

    Examples
    --------
    >>> conversion("bar", "kPa"), conversion("degC", "K")
    ((100.0, 0.0), (1.0, 273.15))
    """
    if written == wanted:
        return 1.0, 0.0
    given = _parse(written)
    target = _parse(wanted)
    if given is None or target is None:
        return f"unit {written[:60]!r} is not known: write {wanted} or a unit that turns into it."
    if given.dimensionality != target.dimensionality:
        return f"unit {written[:60]!r} cannot be turned into {wanted}, the unit in the catalogue."
    quantity = _registry().Quantity
    zero = float(quantity(0.0, given).to(target).magnitude)
    one = float(quantity(1.0, given).to(target).magnitude)
    if zero == 0.0:
        return one, 0.0
    return round(one - zero, 12), round(zero, 9)  # the digits beyond are noise of the subtraction


@cache
def _registry() -> pint.UnitRegistry[float]:
    import pint  # a quarter of a second, and most files write the catalogue's own units

    return pint.UnitRegistry()


def _parse(text: str) -> pint.Unit | None:
    import pint

    if not _UNIT.fullmatch(text):
        return None
    try:
        # For the library a turn is an angle of 2 pi; for a depot 600 rpm is 600 1/min.
        return _registry().parse_units(re.sub(r"\brpm\b", "1/min", text))
    except (pint.PintError, ValueError, KeyError):  # KeyError: a power of zero
        return None
