"""Every modelled fault, wherever it can be, in every mode, at the moments that matter: what each does, and how soon she is safe."""
