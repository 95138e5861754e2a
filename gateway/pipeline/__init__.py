"""The straight line from exam to confirmed storage: steps, store, spool, queue."""
