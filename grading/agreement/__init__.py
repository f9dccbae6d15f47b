"""How well graders agree: blind samples, kappa, drift."""
