"""The plan version that each client is on now."""

from collections.abc import Mapping, Sequence
from typing import Any

from sqlmodel import and_, col, select
from sqlmodel.sql.expression import Select

from service.store.tables import Placement, PlanRow


def present_plans(column: Mapping[str, Any], ids: Sequence[int]) -> Select[int, Mapping[str, Any]]:
    """Each of these clients' id with one column of their present plan: settings or profile."""
    here = and_(
        col(Placement.client_id) == col(PlanRow.client_id),
        col(Placement.plan_version) == col(PlanRow.version),
    )
    rows = select(PlanRow.client_id, column).join(Placement, here)
    return rows.where(col(PlanRow.client_id).in_(ids))
