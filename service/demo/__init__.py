"""The invented demo practice: people who do not exist, played through the real loop."""

from service.demo.load import load_demo
from service.demo.play import forward

__all__ = ["forward", "load_demo"]
