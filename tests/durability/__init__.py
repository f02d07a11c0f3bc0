"""Killing the serving process (SIGKILL) while sixteen people are at work loses nothing.

    python -m tests.durability 1000 --database postgresql

The server is real: its own process, sockets, sessions, forms and the runner of errands. A nursery
process has read the program and forks a server each time, so that a start takes no second. What
counts as acknowledged is what a browser has received the answer to; whoever got none sends the very
same form again to the next server, so each deed must be there once, whatever happened to its first
sending. After each kill everything acknowledged so far is looked up and the whole record verified.

    python -m tests.durability hold 30

`hindered` does the same to servers that nobody kills: another program holds the database, or the
disk is full, or can only be read.
"""
