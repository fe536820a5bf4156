"""The figure of what renewal costs at each age, read back from what is drawn."""

from __future__ import annotations

from dashboard.figures.costs import CostLine, draw_costs

LINE = CostLine(
    "Alder", [1.0, 2.0, 3.0, 4.0], rate=[9.0, 4.1, 4.0, 4.3], lower=[8.0, 3.0, 3.0, 3.0],
    upper=[10.0, 5.0, 5.0, 6.0], best=2,
)  # fmt: skip


def test_best_age_is_marked_and_what_is_nearly_as_good_is_broad() -> None:
    traces = draw_costs([LINE], age="Age", rate="Cost")["data"]
    marked = [trace for trace in traces if trace["mode"] == "markers"]
    assert [(trace["x"], trace["y"]) for trace in marked] == [([3.0], [4.0])]
    broad = max((trace for trace in traces if "fill" not in trace), key=_width)
    # by hand: 5 % above 4.0 is 4.2
    assert broad["y"] == [None, 4.1, 4.0, None]


def test_band_goes_out_by_the_upper_bound_and_back_by_the_lower() -> None:
    band = draw_costs([LINE], age="Age", rate="Cost")["data"][0]
    assert band["y"] == [10.0, 5.0, 5.0, 6.0, 3.0, 3.0, 3.0, 8.0]
    assert band["x"] == [1.0, 2.0, 3.0, 4.0, 4.0, 3.0, 2.0, 1.0]


def test_very_early_renewal_runs_off_the_top() -> None:
    # what a renewal every few hours costs would press everything else flat
    axis = draw_costs([LINE], age="Age", rate="Cost")["layout"]["yaxis"]
    assert axis["range"] == [0, 12.0]


def _width(trace: dict[str, dict[str, float]]) -> float:
    return trace.get("line", {}).get("width", 0.0)
