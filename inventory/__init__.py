"""The rack: stock, reservations and an append-only ledger over SQL."""
