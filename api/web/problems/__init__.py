"""RFC 9457 problem documents: every type, and the handlers that turn exceptions into them."""
