"""The live page: a server on this machine and what it shows in a browser. It calls the library and computes nothing."""
