"""What texts cost: the price of one segment, as the carrier's bill has it."""

import re
from dataclasses import dataclass
from decimal import Decimal

from rungwise.errors import ImpossibleValue

PRICE = re.compile(r"(\d{1,4}(?:[.,]\d{1,6})?) ?([A-Za-z]{3})")


@dataclass(frozen=True, slots=True)
class Price:
    """An amount and its currency's three letters (ISO 4217)."""

    amount: Decimal
    currency: str

    def times(self, count: int) -> "Price":
        return Price(self.amount * count, self.currency)

    def __str__(self) -> str:
        """As it is stored and shown: 0.04 GBP. At least two decimals, and no noughts after them."""
        whole, _, rest = f"{self.amount:f}".partition(".")
        return f"{whole}.{rest.rstrip('0').ljust(2, '0')} {self.currency}"


def price_from(words: str) -> Price:
    """A price such as 0.04 GBP; ImpossibleValue for anything else."""
    found = PRICE.fullmatch(words.strip())
    if found is None:
        allowed = "an amount and a currency, such as 0.04 GBP"
        raise ImpossibleValue("price", words, allowed)
    return Price(Decimal(found[1].replace(",", ".")), found[2].upper())
