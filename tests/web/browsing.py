"""A real Chromium looking at the pages of a small practice that is really served."""

import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

import uvicorn
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, Playwright, expect
from screened import unhurt
from waiting import PATIENCE_S
from web_world import PASSWORD, World

FLAGS = (
    *("--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking"),
    *("--disable-component-update", "--disable-sync"),
)
WIDTHS = (360, 1280)
expect.set_options(timeout=PATIENCE_S * 1000)
THEMES = ("light", "dark")


def launch(playwright: Playwright) -> Browser:
    return playwright.chromium.launch(executable_path="/usr/bin/chromium", args=list(FLAGS))


@contextmanager
def served(world: World) -> Iterator[str]:
    """The practice on a free loopback port; gives its address."""
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        config = uvicorn.Config(world.app, log_level="warning", timeout_graceful_shutdown=1)
        server = uvicorn.Server(config)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
        thread.start()
        while not server.started:
            assert thread.is_alive(), "the server did not start"
            time.sleep(0.02)
        try:
            yield f"http://127.0.0.1:{listening.getsockname()[1]}"
        finally:
            server.should_exit = True
            thread.join(PATIENCE_S)


def answer_unhurt(page: Page) -> None:
    """Answer the checklist after a fall so that it asks for nothing more."""
    for name, value in unhurt().items():
        choice = page.locator(f'[name="fall_{name}"][value="{value}"]')
        if choice.is_visible():
            choice.check()


@dataclass
class Window:
    """One browser window; everything its console complains of is kept, CSP violations too."""

    browser: Browser
    address: str
    width: int = 1280
    theme: str = "light"
    scripts: bool = True
    complaints: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.context = self.browser.new_context(
            viewport={"width": self.width, "height": 900},
            color_scheme=self.theme,  # type: ignore[arg-type]
            base_url=self.address,
            java_script_enabled=self.scripts,
            reduced_motion="reduce",
        )
        self.context.set_default_timeout(PATIENCE_S * 1000)
        self.page: Page = self.context.new_page()
        self.page.on("console", self._console)
        self.page.on("pageerror", lambda error: self.complaints.append(f"error: {error}"))

    def _console(self, message: object) -> None:
        kind, text = message.type, message.text  # type: ignore[attr-defined]
        if kind in ("error", "warning"):
            self.complaints.append(f"{kind}: {text}")

    def sign_in(self, who: str = "tess") -> "Window":
        self.page.goto("/sign-in")
        self.page.get_by_label("E-mail address").fill(f"{who}@example.org")
        self.page.get_by_label("Password").fill(PASSWORD)
        self.page.get_by_role("button", name="Sign in").click()
        self.page.wait_for_url(f"{self.address}/")
        return self

    def sideways(self) -> int:
        """How many pixels the page is wider than the window."""
        wide = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
        return int(self.page.evaluate(wide))

    def axe(self) -> list[str]:
        """What axe-core finds wrong, by rule and place."""
        found = Axe().run(self.page).response["violations"]
        return [f"{rule['id']}: {node['html'][:200]}" for rule in found for node in rule["nodes"]]

    def close(self) -> None:
        self.context.close()
