"""The database of what happened: write, read, check, back up.

An entry's way to the disk: the keeper calls ``Journal.append``, which only puts it into the ``WriteQueue``,
in memory. ``JournalMaintenance.flush``, in a thread beside the keeper, has ``Journal.flush`` take all that
waits; ``Transactions.commit`` opens one transaction, in which a ``Writer`` makes rows of each entry, and
commits it to SQLite's write-ahead log. A commit with anything but heartbeats in it is on the disk
(synchronous FULL) before ``flush`` returns; heartbeats alone, which are many, ride with the next write-back
of the system, some thirty seconds later. Only after the commit do the entries leave the queue: a failure
keeps them for the next flush, a crash before the commit loses what waits and doubles nothing, and a commit
that failed but is in the file all the same is found by the next flush.

The file at the path is the journal, whatever becomes of the folder: it is looked for with every flush. One
that is not as the last commit left it (a new one, a backup, a copy, the folder that came back) first gets a
``StartFresh``: what is lit, overridden and planned, and an event that says what was found and for how long
the file has no record.

In the state folder: ``journal.sqlite`` with its log beside it, ``backups`` with its backups, ``set-aside-*``
with journals that were damaged, ``keeper.lock`` locked by the one keeper.
"""
