"""Records of many groups: arrays whose last axis counts groups."""

from __future__ import annotations

from dataclasses import fields
from typing import TYPE_CHECKING, Any, Self

import numpy as np

from analytics.estimate.rate import BoolArray, IntArray

if TYPE_CHECKING:
    from _typeshed import DataclassInstance


class ByGroup:
    """A frozen dataclass all of whose fields are arrays with groups along the last axis."""

    __slots__ = ()

    def only(self, which: IntArray | BoolArray) -> Self:
        """Keep the groups `which`."""
        return type(self)(**{name: array[..., which] for name, array in _arrays(self).items()})

    def replaced(self, where: BoolArray, other: Self) -> Self:
        """Take the other's groups where true."""
        theirs = _arrays(other)
        return type(self)(
            **{name: np.where(where, theirs[name], own) for name, own in _arrays(self).items()}
        )

    def doubled(self) -> Self:
        """Put the groups a second time behind themselves."""
        twice = {name: np.concatenate([own, own], axis=-1) for name, own in _arrays(self).items()}
        return type(self)(**twice)

    def put(self, which: IntArray, other: Self) -> None:
        """Write the other's groups into the places `which`."""
        theirs = _arrays(other)
        for name, own in _arrays(self).items():
            own[..., which] = theirs[name]


def _arrays(record: Any) -> dict[str, Any]:
    shown: DataclassInstance = record
    return {field.name: getattr(shown, field.name) for field in fields(shown)}
