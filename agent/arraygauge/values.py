"""Frozen values, as ``dataclass(frozen=True, slots=True, kw_only=True)`` makes them, but cheap to
define.

A dataclass has six methods compiled for it when its module is imported. This program defines some
350, of which a command makes a few dozen: compiling them was over half of the time that its own
modules took to import. Here all share their methods, and a class gets an ``__init__`` of its own
when the first of its values is made.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import MISSING, FrozenInstanceError, dataclass, field, fields
from functools import cache
from operator import attrgetter
from typing import Any, TypeVar, cast, dataclass_transform

Class = TypeVar("Class", bound=type[Any])

_put = object.__setattr__


@dataclass_transform(frozen_default=True, kw_only_default=True, field_specifiers=(field,))
def frozen(cls: Class) -> Class:
    """Makes a class of frozen values of its annotated fields: equal and hashed by them, made by
    keywords, without a ``__dict__``. For ``dataclasses.fields``, ``replace`` and ``asdict`` they
    are dataclasses. What the class itself defines is kept."""
    made: Any = dataclass(init=False, repr=False, eq=False, slots=True, kw_only=True)(cls)

    def init(self: object, **given: object) -> None:
        made.__init__ = _init_of(made)
        made.__init__(self, **given)

    for method in (init, *_SHARED):
        name = f"__{method.__name__.strip('_')}__"
        if name not in made.__dict__:
            setattr(made, name, method)
    return cast("Class", made)


def _init_of(cls: type[Any]) -> Callable[..., None]:
    """Compiles what sets each field, and refuses others, as a function written by hand would."""
    names: dict[str, object] = {"_put": _put, "_MISSING": MISSING}
    parameters, lines = [], []
    for each in fields(cls):
        name, default = each.name, f"_default_of_{each.name}"
        if each.default is not MISSING:
            names[default] = each.default
            parameters.append(f"{name}={default}")
        elif each.default_factory is not MISSING:
            names[default] = each.default_factory
            parameters.append(f"{name}=_MISSING")
            lines.append(f"if {name} is _MISSING: {name} = {default}()")
        else:
            parameters.append(name)
        lines.append(f"_put(self, {name!r}, {name})")
    if hasattr(cls, "__post_init__"):
        lines.append("self.__post_init__()")
    signature = ", ".join(["self", *(["*", *parameters] if parameters else [])])
    body = "\n  ".join(lines or ["pass"])
    exec(f"def __init__({signature}):\n  {body}", names)  # noqa: S102 (of field names only)
    compiled: Any = names["__init__"]
    compiled.__qualname__ = f"{cls.__qualname__}.__init__"
    return compiled  # type: ignore[no-any-return]


@cache
def _reader(cls: type[Any]) -> Callable[[Any], tuple[object, ...]]:
    """What reads all fields of a value, in order."""
    names = [each.name for each in fields(cls)]
    if len(names) > 1:
        return attrgetter(*names)
    return lambda held: tuple(getattr(held, name) for name in names)


# As `self` is whatever class the method has been given to, its type is not of help here.
def _eq(self: Any, other: object) -> Any:
    read = _reader(self.__class__)
    return read(self) == read(other) if other.__class__ is self.__class__ else NotImplemented


def _hash(self: Any) -> int:
    return hash(_reader(self.__class__)(self))


def _repr(self: Any) -> str:
    contents = zip(fields(self), _reader(self.__class__)(self), strict=True)
    shown = ", ".join(f"{each.name}={content!r}" for each, content in contents)
    return f"{self.__class__.__qualname__}({shown})"


def _setattr(self: Any, name: str, _content: object) -> None:
    raise FrozenInstanceError(f"cannot assign to field {name!r} of {self!r}")


def _delattr(self: Any, name: str) -> None:
    raise FrozenInstanceError(f"cannot delete field {name!r} of {self!r}")


def _getstate(self: Any) -> tuple[object, ...]:
    return _reader(self.__class__)(self)


def _setstate(self: Any, state: tuple[object, ...]) -> None:
    for each, content in zip(fields(self), state, strict=True):
        _put(self, each.name, content)


_SHARED = (_eq, _hash, _repr, _setattr, _delattr, _getstate, _setstate)
