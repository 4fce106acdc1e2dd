"""The front desk: the halfturn command, its progress and the documents it hands out."""

import atexit
import gc
import os

# What is loaded at the start stays, so that looking for garbage meanwhile is in vain: a twentieth of the time. So it is
# at the end, where all goes at once: a tenth.
gc.set_threshold(50_000, 20, 50)
atexit.register(gc.freeze)
# There are no plug-ins of pydantic here, and looking for them takes some hundredths of a second.
os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
