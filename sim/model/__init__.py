"""State only: what lies on the bench. Nothing here acts or judges."""
