"""Sessions and specifications, in each form in which they may be handed over."""

from __future__ import annotations

import copy
import os
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias, Union

from wheel_alignment.error import (
    AlignmentError,
    NotASessionError,
    NotASpecificationError,
)

if TYPE_CHECKING:
    from wheel_alignment.conformity import Specification
    from wheel_alignment.session import Session
    from wheel_alignment.stand import StandRequirements

Given: TypeAlias = Mapping[str, object] | str | os.PathLike[str]
"""A tree, the text of its JSON, or the path of a JSON file."""

SessionLike: TypeAlias = Union[Given, "Session"]
"""The same, or a session that was read."""


def session(given: SessionLike) -> object:
    """Return a session as the native half takes it: itself, a text or a tree."""
    from wheel_alignment.session import Session

    if isinstance(given, Session):
        return given._core
    return _text_or_tree(given, "session", NotASessionError)


def specification(given: Specification | Given) -> object:
    """Return a specification as the native half takes it: a text or a tree."""
    from wheel_alignment.conformity import Specification

    if isinstance(given, Specification):
        return given.to_dict()
    return _text_or_tree(given, "specification", NotASpecificationError)


def stand_requirements(given: StandRequirements | Given) -> object:
    """Return what is required of a stand as the native half takes it."""
    from wheel_alignment.stand import StandRequirements

    if isinstance(given, StandRequirements):
        return given.to_dict()
    return _text_or_tree(given, "stand's requirements", NotASpecificationError)


def _text_or_tree(given: Given, what: str, refusal: type[AlignmentError]) -> object:
    if isinstance(given, str):
        if given.lstrip()[:1] not in ("{", "["):
            raise refusal(
                f"the text is not JSON of a {what} (line 1, column 1); "
                "hand over a file as a pathlib.Path",
                line=1,
                column=1,
            )
        return given
    if isinstance(given, os.PathLike):
        try:
            return Path(given).read_bytes().decode()
        except UnicodeDecodeError as error:
            raise refusal(
                f"the text is not UTF-8 (byte {error.start}); save it as UTF-8"
            ) from None
    if isinstance(given, Mapping):
        return given
    kind = type(given).__qualname__
    raise TypeError(
        f"a {what} is a mapping, a JSON text or a path-like object, not {kind}"
    )


def placed(error: Exception, place: str) -> Exception:
    """Return an error again, its message with the place where it was."""
    if not isinstance(error, AlignmentError):
        return type(error)(f"{place}: {error}")
    index = "" if not error.index else f"[{', '.join(map(str, error.index))}]"
    again = copy.copy(error)
    again.args = (f"{place}{index}: {error}",)
    return again
