"""Over which time locomotives were down, and why: the ground of availability."""

from __future__ import annotations

import pandas as pd

from analytics.answers.ground import Ground, is_one_of, text_of


def lay_down(ground: Ground) -> None:
    """Make `asked_span`, `asked_state` and `asked_down` of the locomotives in scope.

    Filters on components and defects keep only the down time that these opened; a withheld
    inspection names neither and counts without such filters alone.
    """
    scope = ground.scope
    ground.keep("asked_action", pd.DataFrame(ground.catalogue.tables()["action"]))
    mine = "locomotive IN (SELECT locomotive FROM asked_record)"
    of_component = is_one_of("component", scope.components)
    sources = {name: ground.in_force(name, mine) for name in ("findings", "inspections", "work")}
    spans = text_of("down_span.sql").format(
        **sources,
        episode=ground.sources["episode"],
        kept=f"{of_component} AND {is_one_of('defect', scope.defects)}",
        job_kept="false" if scope.defects else of_component,
        whole=not (scope.components or scope.defects),
    )
    ground.make("asked_span", spans)
    state = text_of("down_state.sql").format(
        out_of_use=ground.in_force("out_of_use", mine), exposure=ground.sources["exposure"]
    )
    ground.make("asked_state", state)
    ground.make("asked_down", text_of("down.sql"))


def unmeasured(ground: Ground) -> int:
    """Count the findings and jobs in the period that took a locomotive down for an unknown time."""
    found = ground.rows(
        "SELECT count(*) AS number FROM asked_span WHERE state = 'unmeasured'"
        " AND kind = 'finding' AND from_at >= $since",
        since=ground.since,
    )
    return int(found["number"].iloc[0])
