"""Roll call: which machines are well, which are in alert, which fell silent, out of what they mailed.

It needs no machine and no service of ours: a mailbox, and a list of whose key is whose. Everything in the box
was written by strangers until a signature by a known key says otherwise.
"""
