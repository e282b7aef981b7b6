"""What this process counts for Prometheus. Figures that the database knows are read when asked for.

No label names or numbers a client, a trainer or a practice.
"""

from prometheus_client import CollectorRegistry, Counter, Histogram

# A client who texts should have an answer within seconds; the last ones are a carrier in trouble.
ANSWERED_WITHIN_S = (0.5, 1.0, 2.0, 5.0, 10.0, 30.0, 60.0, 300.0, 1800.0, 7200.0)
ASKED_WITHIN_S = (0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0)


class Meters:
    """One process's counters, in a registry of their own."""

    def __init__(self) -> None:
        self.registry = CollectorRegistry()
        self.answers = Histogram(
            "rungwise_answer_seconds",
            "From a client's text being stored to the carrier having taken the answer.",
            buckets=ANSWERED_WITHIN_S,
            registry=self.registry,
        )
        self.sent = Counter(
            "rungwise_carrier_texts",
            "Texts handed to a carrier, by what it said.",
            ["carrier", "outcome"],
            registry=self.registry,
        )
        self.requests = Histogram(
            "rungwise_http_request_seconds",
            "From a request to the start of its answer.",
            ["area", "status"],
            buckets=ASKED_WITHIN_S,
            registry=self.registry,
        )
        self.webhook_calls = Counter(
            "rungwise_webhook_calls",
            "Calls made to webhooks, by what became of them.",
            ["outcome"],
            registry=self.registry,
        )
