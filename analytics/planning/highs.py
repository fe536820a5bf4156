"""The solver of linear and mixed-integer programmes.

References
----------
Huangfu, Q. & Hall, J. A. J. (2018) Parallelizing the dual revised simplex method. Mathematical
Programming Computation 10, 119-142.
"""

from __future__ import annotations

import highspy


class _Quiet(highspy.Highs):
    """Says nothing: else the first solver of a process prints who it is among our own lines."""

    def enableCallbacks(self) -> None:
        """Be quiet before the first line is written, then do as asked."""
        self.setOptionValue("output_flag", False)
        super().enableCallbacks()  # type: ignore[no-untyped-call]


def quiet_highs() -> highspy.Highs:
    """Return a solver that prints nothing."""
    return _Quiet()  # type: ignore[no-untyped-call]
