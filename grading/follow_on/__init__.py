"""Follow-on tests: who gets which boards, and what came of them."""
