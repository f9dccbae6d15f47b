"""Pages with figures."""

from reports.views.clones import clone, clones, prices, trial_clones
from reports.views.home import home, trial
from reports.views.study import study

__all__ = ["clone", "clones", "home", "prices", "study", "trial", "trial_clones"]
