"""Numbers in addresses that no row can have: a page that says so, never an error of ours."""

import pytest
from web_world import World

HUGE = "9" * 30


@pytest.mark.parametrize(
    "address",
    [
        f"/clients/{HUGE}",
        f"/clients/-{HUGE}",
        f"/alerts/{HUGE}",
        f"/phone?client={HUGE}",
        "/phone?client=2147483648",
        f"/clients?trainer={HUGE}",
        f"/clients?page={HUGE}",
        f"/clients/1?before={HUGE}",
    ],
)
def test_a_number_too_large_for_any_row_is_not_found(world: World, address: str) -> None:
    assert world.signed_in().get(address).status_code in (404, 422)
