"""Schemes for property tests: every contradiction-free one, small ones, and the short forms of the trade."""

from hypothesis import strategies as st

from hopyears.models.radio.scheme import Coupler, Scheme

SHORT_FORMS = (
    "1+0", "1+1 HSB", "1+1 HSB unequal", "1+1 FD", "1+1 SD", "1+1 SD+FD", "2+0", "2+0 DP", "2+0 XPIC", "4+0",
    "4+0 DP", "4+0 XPIC", "1+1 XPIC", "1+1 SD XPIC", "3+1", "7+2", "2+2 HSB", "2+2 HSB DP", "1+0 SD",
    "1+1 HSB SD+FD",
)  # fmt: skip
"""Forms in their canonical spelling."""


def schemes(maximum_working: int = 12, maximum_protection: int = 11) -> st.SearchStrategy[Scheme]:
    """Every scheme that the fields allow, up to so many channels."""

    @st.composite
    def draw_scheme(draw: st.DrawFn) -> Scheme:
        working = draw(st.integers(1, maximum_working))
        protection = draw(st.integers(0, min(12 - working, maximum_protection)))
        standby = draw(st.integers(0, 1))
        space = draw(st.booleans())
        total = working + protection
        polarisations = draw(st.integers(1, 2 if total > 1 else 1))
        pairs = polarisations == 2 and total % 2 == 0 and working >= 2
        co_channel = pairs and draw(st.booleans())
        shared = standby == 1 and not space
        coupler = draw(st.sampled_from(Coupler)) if shared else Coupler.EQUAL
        return Scheme(working, protection, standby, space, polarisations, co_channel, coupler)

    return draw_scheme()
