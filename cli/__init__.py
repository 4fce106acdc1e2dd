"""The front desk: the halfturn command, its progress and the documents it hands out."""
