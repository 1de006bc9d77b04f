# SPDX-License-Identifier: MIT

noinst_LIBRARIES += %D%/libgarden.a
%C%_libgarden_a_SOURCES =
