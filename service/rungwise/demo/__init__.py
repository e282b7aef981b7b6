"""The invented demo practice: people who do not exist, played through the real loop."""

from rungwise.demo.load import load_demo
from rungwise.demo.play import forward

__all__ = ["forward", "load_demo"]
