"""The planning core: pure functions from drawings and stock to a plan. No database, no terminal, no clock."""
