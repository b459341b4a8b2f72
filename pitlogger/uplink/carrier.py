"""What carries bundles to a hub and brings its answers back."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Protocol

from pydantic import ConfigDict, Field, TypeAdapter, ValidationError
from pydantic.dataclasses import dataclass as checked

from pitlogger.errors import DeliveryError

Whole = Annotated[int, Field(ge=0, lt=1 << 62)]


@checked(frozen=True, config=ConfigDict(extra="ignore"))
class HubAnswer:
    """What a hub says.

    Attributes:
        hub: Its id.
        received: Bundles that are in its database.
        refused: Bundles it will never take, each with the reason.
        life: Of its connection to its database; where it is a new one, nodes ask what it has.
        lacks: Runs of which it has less than it confirmed, as after a restore.
        contradicted: Records of this node that say other than what is on record under the
            same identity; the first stays.
        offer: Priors learned across the sites of the firm, by cut; see ``hub/priors.py``.
        certificate: A new one for this node, PEM, where the old one ends soon.
        cloned: Whether two nodes lately sent with this node's key.
        fault: Why nothing was taken now; ``retry_s`` says when it may be tried again.
    """

    hub: str
    received: tuple[Whole, ...] = ()
    refused: tuple[tuple[Whole, str], ...] = ()
    life: str = ""
    lacks: tuple[str, ...] = ()
    contradicted: tuple[str, ...] = ()
    offer: dict[str, dict[str, float]] | None = None
    certificate: str | None = None
    cloned: bool = False
    fault: str = ""
    retry_s: Annotated[float, Field(ge=0, le=600)] = 0.0

    @property
    def is_receipt(self) -> bool:
        """Whether it is a receipt and says no more."""
        return not (
            self.refused or self.lacks or self.contradicted or self.certificate or self.cloned
            or self.fault or self.offer is not None
        )  # fmt: skip


COPIED = DeliveryError(
    "another node uses this node's key",
    remedy="Of a copied memory card, move the copy's record folder away: it then begins a record"
    " and a key of its own",
)
_ANSWER = TypeAdapter(HubAnswer)


def written(answer: HubAnswer) -> bytes:
    """Return an answer as JSON, without what is as ever: a hub gives one for each bundle."""
    return _ANSWER.dump_json(answer, exclude_defaults=True)


def read_answer(data: bytes) -> HubAnswer:
    """Return what a hub answered, from JSON.

    Raises:
        DeliveryError: No such answer.
    """
    try:
        return _ANSWER.validate_json(data)
    except ValidationError as fault:
        first = fault.errors()[0]
        raise DeliveryError(f"the hub's answer cannot be read: {first['msg']}") from None


def explained(where: str, fault: BaseException) -> DeliveryError:
    """Return what a fault of the network on the way to a hub or its broker means."""
    said = str(fault) or type(fault).__name__
    if "certificate" in said.casefold():
        return DeliveryError(
            f"{where} is not the hub this node joined, or a certificate is not accepted ({said})",
            remedy="Join again if the hub was set up anew: pitlogger uplink join HUB CODE",
        )
    return DeliveryError(
        f"{where} cannot be reached ({said})", remedy="Check the network, and that the hub runs"
    )


@dataclass(frozen=True, slots=True)
class CarrierEvent:
    """What a carrier reports: an answer, a fault, or that the session on its way is gone."""

    answer: HubAnswer | None = None
    fault: DeliveryError | None = None
    retry_s: float = 0.0
    forgotten: bool = False


class Carrier(Protocol):
    """A way to a hub. Answers come through ``report``, in whatever order."""

    report: Callable[[CarrierEvent], None]

    async def run(self) -> None:
        """Keep the way open, until cancelled."""

    def send(self, number: int, body: bytes) -> None:
        """Hand a bundle over; never raises for what the network does."""
