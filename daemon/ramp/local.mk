# SPDX-License-Identifier: MIT

daemon_libcore_a_SOURCES +=
