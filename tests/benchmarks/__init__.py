"""Speed of the plant kernel, measured beside a C twin of the same equations on the same memory."""
