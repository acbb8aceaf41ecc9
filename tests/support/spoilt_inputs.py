"""Inputs spoilt at random, for property tests of whatever reads files."""

import copy
import datetime

from hypothesis import strategies as st

NUMBERS = st.one_of(
    st.integers(),
    st.integers(-3, 400),
    st.floats(),
    st.sampled_from([0.0, -0.0, 1e-9, 1e9, 1e308, 90.0, -180.0, 2**63, 10**400]),
)
WORDS = st.one_of(
    st.text(max_size=12), st.sampled_from(["", "hill", "1+1", "4+0 XPIC", "\u202e", "\0", "x" * 300])
)
DATES = st.sampled_from([datetime.date(2024, 2, 29), datetime.time(1, 2), datetime.datetime(2024, 1, 1)])
VALUES = st.recursive(
    st.one_of(NUMBERS, WORDS, st.booleans(), DATES),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=6), inner, max_size=3),
    max_leaves=5,
)
"""Whatever a TOML file may hold."""


def _places(data, at=()):
    """Every place in plain data, as the keys and numbers that lead to it."""
    items = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    for key, value in items:
        yield (*at, key)
        yield from _places(value, (*at, key))


def _holder(data, place):
    for step in place[:-1]:
        data = data[step]
    return data


@st.composite
def spoilt_data(draw, whole):
    """Plain data with one to four places changed: another value, a copy of another, gone, one more."""
    data = copy.deepcopy(whole)
    for _ in range(draw(st.integers(1, 4))):
        places = sorted(_places(data), key=repr)
        if not places:
            break
        place = draw(st.sampled_from(places))
        holder, key = _holder(data, place), place[-1]
        match draw(st.sampled_from(["value", "value", "copy", "gone", "more"])):
            case "value":
                holder[key] = draw(VALUES)
            case "copy":
                other = draw(st.sampled_from(places))
                holder[key] = copy.deepcopy(_holder(data, other)[other[-1]])
            case "gone":
                del holder[key]
            case "more" if isinstance(holder, list):
                holder.append(draw(VALUES) if draw(st.booleans()) else copy.deepcopy(holder[key]))
            case "more":
                holder[draw(st.text(max_size=8))] = draw(VALUES)
    return data


@st.composite
def spoilt_bytes(draw, whole):
    """A file with a slice of it replaced, or cut short; never the whole file itself."""
    begin = draw(st.integers(0, len(whole) - 1))
    end = draw(st.sampled_from([begin, begin + 1, begin + 8, len(whole)]))
    put = draw(st.binary(max_size=6))
    spoilt = whole[:begin] + put + whole[end:]
    return spoilt if spoilt != whole else whole[:begin]
