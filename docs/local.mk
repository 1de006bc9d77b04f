# SPDX-License-Identifier: MIT

.PHONY: demo
demo: all
	THOLE_BUILD_DIR='$(abs_top_builddir)' $(SHELL) $(srcdir)/%D%/demo/run.sh

EXTRA_DIST += %D%/api.md $(wildcard $(srcdir)/%D%/schema/*.json)
