"""bootwatch: watches over what a PC that starts two systems needs in order to start them."""

__version__ = "0.1.0"
