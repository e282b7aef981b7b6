"""Pages: routes, templates, static files, sign-in."""

from importlib import resources

from fastapi import Depends, FastAPI
from fastapi.staticfiles import StaticFiles
from starlette.requests import Request
from starlette.responses import Response
from starlette.types import Scope

from rungwise.carriers.openid import provider_of
from rungwise.parts import Parts
from rungwise.web import day, inbox, incident, phone, unknown_numbers
from rungwise.web.account import account, forgotten, organisation, passkeys, second_factor
from rungwise.web.api import PREFIX as API_PREFIX
from rungwise.web.api import make_api
from rungwise.web.callbacks import routes
from rungwise.web.clients import (
    actions,
    before_first_text,
    client_list,
    client_page,
    export,
    facts,
    import_csv,
    intake,
    many,
    override,
    picture,
    plan,
    prints,
    search,
    told_days,
    usual_pain,
)
from rungwise.web.http import health, live, metrics
from rungwise.web.http.auth import ids_fit
from rungwise.web.http.errors import add_error_pages
from rungwise.web.http.patience import LimitTime
from rungwise.web.http.request_log import Asked
from rungwise.web.http.security import A_YEAR_S, LimitBody, OwnHost, SecureHeaders
from rungwise.web.practice import (
    duty,
    hand_over,
    invitations,
    page_test,
    programs,
    rehearsal,
    retention,
    review,
    second_reader,
    settings,
)
from rungwise.web.reports import (
    comparison,
    falls,
    home_visits,
    month,
    outcomes,
    retests,
    rule_review,
    summary,
    visits,
)

# Before clients: /clients/new is no client's page.
PAGES = (
    *(
        import_csv,
        many,
        search,
        intake,
        before_first_text,
        picture,
        prints,
        settings,
        page_test,
        duty,
        hand_over,
        retention,
        review,
        second_reader,
        rehearsal,
        summary,
        export,
    ),
    *(programs, day, inbox, incident, client_list, client_page, facts, actions, override, plan),
    *(told_days, usual_pain),
    *(phone, unknown_numbers, live, account, forgotten, second_factor),
    *(passkeys, organisation, invitations),
    *(visits, home_visits, month, retests, falls, outcomes, rule_review, comparison),
)
CACHED = f"public, max-age={A_YEAR_S}, immutable"


def mount(app: FastAPI) -> None:
    """Add every route, the static files, the error pages and the headers to the application."""
    parts: Parts = app.state.parts
    # First, because routes are tried one after the other and carriers call most.
    app.include_router(routes.router)
    for pages in PAGES:
        app.include_router(pages.router, dependencies=[Depends(ids_fit)])
    app.include_router(health.router)
    app.include_router(metrics.router)
    held = resources.files("rungwise.web").joinpath("static")
    api = make_api(parts)
    app.state.openid = provider_of(parts.settings)
    app.state.api_document = api.state.described
    app.mount(API_PREFIX, api)
    app.mount("/static", Static(directory=str(held)), name="static")
    add_error_pages(app)
    app.add_middleware(LimitBody)
    app.add_middleware(LimitTime)
    app.add_middleware(OwnHost, public_url=parts.settings.public_url)
    app.add_middleware(SecureHeaders, https=parts.settings.secure_cookies)
    app.add_middleware(Asked, meters=parts.meters)


class Static(StaticFiles):
    """Static files; one asked for with its hash never changes and may be kept for ever."""

    async def get_response(self, path: str, scope: Scope) -> Response:
        answer = await super().get_response(path, scope)
        if answer.status_code == 200 and "v" in Request(scope).query_params:
            answer.headers["Cache-Control"] = CACHED
        return answer
