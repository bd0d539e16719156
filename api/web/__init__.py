"""The HTTP API: server, middleware, routes, request and response models, problem documents."""
