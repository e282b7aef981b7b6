"""The plan version that each client is on now."""

from collections.abc import Mapping, Sequence
from typing import Any

from sqlmodel import and_, col, select
from sqlmodel.sql.expression import Select

from rungwise.store.tables import Placement, PlanRow

# Joins a client's placement and the plan that it is on.
PRESENT = and_(
    col(PlanRow.client_id) == col(Placement.client_id),
    col(PlanRow.version) == col(Placement.plan_version),
)


def present_plans(column: Mapping[str, Any], ids: Sequence[int]) -> Select[int, Mapping[str, Any]]:
    """Each of these clients' id with one column of their present plan: settings or profile."""
    rows = select(PlanRow.client_id, column).join(Placement, PRESENT)
    return rows.where(col(PlanRow.client_id).in_(ids))
