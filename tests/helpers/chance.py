"""What properties are tried on: the same examples every time, or many more by chance."""

from __future__ import annotations

from hypothesis import HealthCheck, Phase, settings
from hypothesis.internal.conjecture import providers

UNIT = settings.get_profile("default").max_examples
"""Examples of a property that names no number of its own."""

EACH_LAW = 10_000
"""Examples of every law, whatever it costs."""

# No test is timed: a busy machine is no fault of the code.
_UNTIMED = settings(
    settings.get_profile("default"), deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.register_profile("same", _UNTIMED, derandomize=True, database=None)
# Which example fails is of no interest where only the number of failures counts.
settings.register_profile(
    "unshrunk", settings.get_profile("same"), phases=(Phase.explicit, Phase.generate)
)
settings.register_profile("long", _UNTIMED, max_examples=10 * UNIT, print_blob=True)


settings.register_profile("laws", settings.get_profile("long"), max_examples=EACH_LAW)


def examples(count: int) -> settings:
    """Settings of a property that is tried on so many examples, ten times as many by chance."""
    if settings().max_examples == EACH_LAW:
        return settings()
    return settings(max_examples=count * settings().max_examples // UNIT)


def same_examples_whatever_is_loaded() -> None:
    """Draw no numbers from the package's own source, unless by chance.

    Hypothesis takes them from the modules that are loaded, so the examples would depend on the
    tests that ran before. It has no setting for that; without this name in it there is nothing
    to turn off, and `tests/test_chance.py` compares what is drawn.
    """
    name = "_get_local_constants"
    from_source = getattr(providers, name, None)
    if from_source is None:
        return
    from hypothesis.internal.constants_ast import Constants

    none = Constants()

    def constants() -> Constants:
        return none if settings().derandomize else from_source()

    setattr(providers, name, constants)
