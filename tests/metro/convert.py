"""Turn the metro incident file into the two tables that shedbook takes, and write its catalogue."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

HERE = Path(__file__).parent
EVENTS = HERE / "ttc_subway_equipment_events.csv"
CATALOGUE = HERE / "catalogue.toml"


def convert(folder: Path) -> list[Path]:
    """Write locomotives.csv and findings.csv into `folder`; every incident becomes one row."""
    events = pd.read_csv(EVENTS, dtype=str, keep_default_na=False)
    vehicles = sorted(events["vehicle"].unique())
    register = pd.DataFrame(
        {
            "locomotive": vehicles,
            "class": "Metro car",
            "in_service_from": "2014-01-01",
            "records_from": "2014-01-01",
            "in_service_to": "2025-08-01",
        }
    )
    findings = pd.DataFrame(
        {
            "finding_id": events["finding_id"],
            "locomotive": events["vehicle"],
            "found_at": events["ts"],
            "component": events["component"],
            "defect": "equipment fault",
            "action": "made-good",
        }
    )
    paths = [folder / "locomotives.csv", folder / "findings.csv"]
    for frame, path in zip((register, findings), paths, strict=True):
        frame.to_csv(path, index=False)
    return paths
