"""What a firm's other sites teach about a cut: a prior that its nodes may take or leave.

Of each cut that enough other sites weighed whole: where the mean of a further site would lie, how
much sites differ, how much pieces of one site do; on the logit of servable yield. The site of the
node that it is for is left out, since its own cooks are learned from on the node itself. Nothing
of it crosses firms.

Sources: see ``yields/learned/shrinkage.py``. What few sites show of how much sites differ is drawn
to the published prior's spread, which counts as ``WORTH`` degrees of freedom: a judgement.
"""

from __future__ import annotations

import math
import statistics

from pitlogger.hub.database import Database
from pitlogger.hub.questions import LEAST_PIECES, piece_yields
from pitlogger.hub.receive import NodeRow
from pitlogger.model.cooks import CUTS
from pitlogger.yields.learned.shrinkage import shrink, tau_squared
from pitlogger.yields.purchase.cut_priors import CutPrior, cut_prior

LEAST_SITES = 3
WORTH = 2.0
Offer = dict[str, dict[str, float]]


def offer_for(database: Database, node: NodeRow) -> Offer:
    """Return the priors for a node, by cut: mean, between, within, sites, pieces."""
    found = {}
    for cut, by_site in piece_yields(database, node.tenant, node.site).items():
        sites = [values for values in by_site.values() if len(values) >= LEAST_PIECES]
        if cut in CUTS and len(sites) >= LEAST_SITES:
            found[cut] = pooled(sites, cut_prior(cut))
    return found


def pooled(sites: list[list[float]], published: CutPrior) -> dict[str, float]:
    """Return the prior for a further site from the logits of some sites' pieces."""
    pieces = sum(map(len, sites))
    squares = sum(statistics.variance(values) * (len(values) - 1) for values in sites)
    freedom = pieces - len(sites)
    within = math.sqrt((squares + published.df * published.within**2) / (freedom + published.df))
    means = [statistics.fmean(values) for values in sites]
    errors = [within**2 / len(values) for values in sites]
    told = len(sites) - 1 + WORTH
    tau_2 = (told - WORTH) * tau_squared(means, errors) + WORTH * published.between**2
    tau = math.sqrt(tau_2 / (told - 2.0))  # as wide as Student's t of so few degrees of freedom
    common = shrink(means, errors, tau)
    return {
        "mean": common.mean, "between": math.hypot(tau, math.sqrt(common.variance)),
        "within": within, "sites": float(len(sites)), "pieces": float(pieces),
    }  # fmt: skip
