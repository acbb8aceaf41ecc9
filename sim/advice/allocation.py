"""Where the next simulated blocks are best spent, when one of several sets is to be chosen.

Optimal computing budget allocation: blocks go to those that are near the best, or vary much against it.
"""

import numpy as np
from scipy.special import stdtr

from hopyears.models.basics.arrays import Floats

FIRST_BLOCKS = 4
"""Blocks that each of them gets before more go where the choice is open."""


def allocation(differences: Floats, spreads: Floats) -> Floats:
    """Shares of the blocks for the best (place 0) and the others.

    Parameters
    ----------
    differences : float array, shape (n - 1,)
        Mean of each other less that of the best, at least 0.
    spreads : float array, shape (n,)
        Standard deviation between blocks of the best, then of each other.

    Returns
    -------
    float array, shape (n,)
        They sum to 1; nothing goes to one that never differed from the best, and all get the same where none
        did. N_i / N_j = ((s_i / d_i) / (s_j / d_j))^2 of the others, and of the best
        N_b = s_b sqrt(sum of (N_i / s_i)^2).

    References
    ----------
    C.-H. Chen, J. Lin, E. Yucesan, S. E. Chick, Simulation budget allocation for further enhancing the
    efficiency of ordinal optimization, Discrete Event Dynamic Systems 10 (2000) 251-270, theorem 1.
    """
    varied = spreads[1:] > 0.0
    own = np.where(varied, spreads[1:], 1.0)
    gaps = np.maximum(differences, 1e-3 * own)
    others = np.where(varied, (own / gaps) ** 2, 0.0)
    best = spreads[0] * np.sqrt(((others / own) ** 2).sum())
    shares = np.concatenate([[best], others])
    total = float(shares.sum())
    return np.full(len(shares), 1.0 / len(shares)) if total == 0.0 else np.asarray(shares / total)


def wrong_chances(best: Floats, others: list[Floats]) -> Floats:
    """Chance of each other to be truly better than the best, from the blocks that both have.

    Parameters
    ----------
    best : float array, shape (n,)
    others : list of float arrays
        Blocks of each from the first on, at most n of them.

    Notes
    -----
    One-sided Student's t of the paired differences; one half where all are equal or there is but one pair.
    Their sum bounds the chance of a wrong choice (Bonferroni), as the approximate probability of correct
    selection of the same paper does.
    """
    found = []
    for other in others:
        pairs = other - best[: len(other)]
        n, spread = len(pairs), float(pairs.std(ddof=1)) if len(pairs) > 1 else 0.0
        if spread == 0.0:
            sure = n > 1 and pairs.mean() > 0.0
            found.append(0.0 if sure else 0.5)
        else:
            found.append(float(stdtr(n - 1, -pairs.mean() / (spread / np.sqrt(n)))))
    return np.array(found)


def paired_means(values: list[Floats]) -> Floats:
    """Mean of each set though some have more blocks: that of the set with most, and differences to it.

    Blocks are hard or easy for all sets alike, so that means over different blocks must not be compared.
    """
    longest = max(values, key=len)
    return np.array([longest.mean() + (each - longest[: len(each)]).mean() for each in values])


def next_blocks(values: list[Floats], more: int, most: int) -> list[int]:
    """Blocks that each set should have when so many more are spent, none above ``most``.

    Parameters
    ----------
    values : list of float arrays
        Blocks of each set so far, from the first on; less is better.
    more : int
        Blocks to spend, at least 1.
    most : int
        Of one set.

    Notes
    -----
    The sets met the same blocks, so that spreads are those of the differences to the best, which gets as
    many blocks as the set with most, so that all pairs exist.
    """
    best = int(paired_means(values).argmin())
    others = [i for i in range(len(values)) if i != best]
    counts = [len(each) for each in values]
    if not others:
        return [min(counts[0] + more, most)]
    both = [min(counts[i], counts[best]) for i in others]
    pairs = [values[i][:n] - values[best][:n] for i, n in zip(others, both, strict=True)]
    own = [float(p.std(ddof=1)) if len(p) > 1 else 0.0 for p in pairs]
    spreads = np.array([max(own), *own])
    shares = allocation(np.array([max(float(p.mean()), 0.0) for p in pairs]), spreads)[1:]
    shares = shares / shares.sum() if shares.sum() > 0.0 else np.full(len(others), 1.0 / len(others))
    total = sum(counts[i] for i in others) + more
    wanted = dict(zip(others, np.ceil(shares * total).astype(int), strict=True))
    goal = [min(max(counts[i], int(wanted.get(i, 0))), counts[i] + more, most) for i in range(len(values))]
    goal[best] = min(max(goal), most)
    return goal
