"""Work that many tests ask for, done once."""

import hashlib
import pickle
from collections import OrderedDict
from dataclasses import fields
from threading import Lock

from driftmap.planning.trial import pack

TOLD_OF = {"source", "assumed", "age", "dated", "undated", "warned", "levels"}
"""What a wind says of itself, which moves no flight."""


class Once:
    """Work done once for what is asked, the answers asked for last kept."""

    def __init__(self, most, size=lambda _: 1):
        self.most, self.size, self.kept, self.lock = most, size, OrderedDict(), Lock()

    def __call__(self, asked, work):
        """Give the answer kept, or find it; what hangs on a function is found anew."""
        try:
            key = hashlib.sha256(pack(asked)).digest()
        except (AttributeError, TypeError, pickle.PicklingError):
            return work()
        found = self.kept.get(key)
        if found is None:
            found = work()
        with self.lock:
            self.kept[key] = found
            self.kept.move_to_end(key)
            while sum(map(self.size, self.kept.values())) > self.most:
                self.kept.popitem(last=False)
        return found


def air(wind):
    """Give all that a wind says of the air; what it says of itself moves no flight."""
    return [getattr(wind, f.name) for f in fields(wind) if f.name not in TOLD_OF]
