"""A small archive on this machine: a real Storage, Commitment, Query and Verification SCP for demo and tests.

It keeps what it is sent byte for byte and proves what it keeps, but it is not a product for patients: no access
control beyond AE titles, no retrieval, no deletion.
"""

from gateway.transports.dimse.archive.archive import LoopbackArchive

__all__ = ["LoopbackArchive"]
