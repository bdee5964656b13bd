#!/bin/sh
# Makes the authority and the server certificates that the tests of fetching over TLS use. Needs openssl.
# The keys are for tests on the loopback alone and are published on purpose.
set -eu
cd "$(dirname "$0")"
mkdir ca && : > ca/index.txt && echo 01 > ca/serial
printf '[ca]\ndefault_ca=d\n[d]\ndatabase=ca/index.txt\nserial=ca/serial\nnew_certs_dir=ca\ndefault_md=sha256\npolicy=p\nunique_subject=no\n[p]\ncommonName=supplied\n' > ca/ca.cnf

issue() { # name, common name, from, until, extensions, further options
    name=$1 common_name=$2 from=$3 until=$4
    printf "$5" > ca/ext
    shift 5
    openssl genpkey -quiet -algorithm EC -pkeyopt ec_paramgen_curve:P-256 -out "ca/$name.key"
    openssl req -new -key "ca/$name.key" -subj "/CN=$common_name" -out ca/request
    openssl ca -batch -notext -config ca/ca.cnf "$@" -startdate "$from" -enddate "$until" -extfile ca/ext -in ca/request -out "ca/$name.crt"
}
server() { # name, subject alternative names, from, until
    extensions="basicConstraints=critical,CA:FALSE\nkeyUsage=critical,digitalSignature\nextendedKeyUsage=serverAuth\n"
    extensions="${extensions}subjectKeyIdentifier=hash\nauthorityKeyIdentifier=keyid\nsubjectAltName=$2\n"
    issue "$1" "$1" "$3" "$4" "$extensions" -cert ca/authority.crt -keyfile ca/authority.key
    cat "ca/$1.key" "ca/$1.crt" > "$1.pem"
}
issue authority "Fennel Quay test authority" 20200101000000Z 20991231235959Z \
    "basicConstraints=critical,CA:TRUE\nkeyUsage=critical,keyCertSign,cRLSign\nsubjectKeyIdentifier=hash\n" \
    -selfsign -keyfile ca/authority.key
cp ca/authority.crt authority.pem
server localhost "DNS:localhost,IP:127.0.0.1,IP:::1" 20200101000000Z 20991231235959Z
server elsewhere "DNS:elsewhere.example" 20200101000000Z 20991231235959Z
server expired "DNS:localhost,IP:127.0.0.1" 20200101000000Z 20210101000000Z
server early "DNS:localhost,IP:127.0.0.1" 20980101000000Z 20991231235959Z
rm -r ca
