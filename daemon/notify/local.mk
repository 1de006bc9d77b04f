# SPDX-License-Identifier: MIT

noinst_LIBRARIES += %D%/libnotifier.a
%C%_libnotifier_a_SOURCES =
