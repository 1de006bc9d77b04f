# SPDX-License-Identifier: MIT

noinst_LIBRARIES += %D%/libservice.a
%C%_libservice_a_SOURCES =
