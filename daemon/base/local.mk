# SPDX-License-Identifier: MIT

noinst_LIBRARIES += %D%/libbase.a
%C%_libbase_a_SOURCES =
